/* The probe on a glass: a cross and the aperture's ring; what it found is asked of the server, on the master. */

import { ringed, within } from "./glass.js";

export class Probe {
  #heard = [];
  #wanted = null;
  #asking = false;
  #ring;
  #cross;

  /* glass: where it is. address: what answers, to which &x=&y=&d= are added. */
  constructor(glass, address, diameter = 2) {
    this.glass = glass;
    this.address = address;
    this.at = null;
    /* Whether the server can find anything. */
    this.measurable = glass.scan.measurable;
    this.diameter = diameter;
    /* Whether what it found last was asked for here. */
    this.asked = false;
    const middle = glass.place(0.5, 0.5);
    this.#ring = ringed((where, options) => L.circle(where, { ...options, radius: 1 }), middle);
    this.#cross = L.marker(middle, {
      icon: L.divIcon({ className: "glass-cross", iconSize: [21, 21], iconAnchor: [10, 10] }),
      interactive: false,
      keyboard: false,
    });
  }

  /* Let it follow the pointer, a tap and the arrow keys. */
  follow() {
    return this.glass.addHand({
      hover: (place) => this.put(place),
      press: (place) => this.put(place),
      arrow: (across, down) => {
        this.step(across, down);
        return true;
      },
    });
  }

  /* Hear of what is found: hear(document), with at least `words`; a document of words only where nothing is. */
  on(hear) {
    this.#heard.push(hear);
    return this;
  }

  /* Put it somewhere and ask. */
  put(place) {
    this.show(place);
    if (!this.measurable) {
      this.#tell({ words: this.glass.scan.reason });
      return;
    }
    this.asked = true;
    this.#wanted = [this.at.x, this.at.y];
    if (!this.#asking) this.#ask();
  }

  /* Draw it somewhere, and ask nothing. */
  show(place) {
    const { glass } = this;
    this.at = within(place);
    const { x, y } = this.at;
    glass.hold = glass.place(x, y);
    for (const line of this.#ring) {
      line.setLatLng(glass.hold).setRadius(glass.radius(this.diameter));
      if (glass.scan.px_per_mm) line.addTo(glass.map);
    }
    this.#cross.setLatLng(glass.hold).addTo(glass.map);
  }

  /* Go a step: from where it is, or from the middle of what is seen. */
  step(across, down) {
    const { glass } = this;
    const seen = this.at && glass.map.getBounds().contains(glass.hold);
    this.put(glass.beside(seen ? this.at : glass.view, 12 * across, 12 * down));
    glass.reveal(this.at);
  }

  /* Ask no more. */
  stop() {
    this.#wanted = null;
    this.asked = false;
  }

  /* Take it off the glass. */
  leave() {
    for (const layer of [...this.#ring, this.#cross]) layer.remove();
    this.at = this.glass.hold = null;
    this.stop();
  }

  set aperture(diameter) {
    this.diameter = diameter;
    if (this.at) this.put(this.at);
  }

  async #ask() {
    this.#asking = true;
    while (this.#wanted) {
      const [x, y] = this.#wanted;
      this.#wanted = null;
      const query = `&x=${x.toFixed(6)}&y=${y.toFixed(6)}&d=${this.diameter}`;
      try {
        const answer = await fetch(this.address + query);
        const found = await answer.json();
        this.#tell(answer.ok ? found : { words: found.error });
      } catch {
        this.#tell({ words: "The probe could not ask the server." });
      }
      await new Promise((resolve) => setTimeout(resolve, 30));
    }
    this.#asking = false;
  }

  #tell(found) {
    for (const hear of this.#heard) hear(found);
  }
}

/* Say a sentence in a live region once the probe has come to rest, so that nobody is talked over. */
export function sayAtRest(status) {
  let saying = 0;
  return (words) => {
    clearTimeout(saying);
    saying = setTimeout(() => {
      status.textContent = words;
    }, 700);
  };
}
