/* Spots moved on the glass. Where they lie stands in the form beside it; what would be found there is asked of the
   server, which answers with the whole page as it would be, and its parts take their places here. */

import { sayAtRest } from "./probe.js";
import { opened } from "./viewer.js";

const DIAMETERS = [0.5, 1, 1.5, 2, 3, 4, 6, 8, 12];
const STEP = 4; // pixels on the screen
const WAIT_MS = 60;
const SAME_MS = 20; // apart, by the browser's clock: what a button let go of, and the click that makes

const panel = document.getElementById("spots");
if (panel) opened.then((on) => on && new Spots(on.glass, panel));

class Spots {
  #rows;
  #chosen;
  #asking = false;
  #wanted = false;
  #drag = null;
  #dropped = -Infinity;
  #away = null;
  #kept = new Map();
  #say;

  constructor(glass, panel) {
    this.glass = glass;
    this.panel = panel;
    this.form = panel.querySelector("form");
    this.#say = sayAtRest(this.form.querySelector("[role=status]"));
    this.#rows = [...this.form.querySelectorAll(".spot-row")].map((element) => new Row(element));
    this.#chosen = this.#rows[0];
    for (const part of followers(document)) this.#kept.set(part.dataset.follows, copies(part));
    for (const row of this.#rows) {
      row.radio.hidden = false;
      row.radio.addEventListener("change", () => this.#choose(row));
      row.element.addEventListener("focusin", () => this.#choose(row));
      row.element.addEventListener("input", ({ target }) => target !== row.radio && this.#changed());
    }
    this.form.querySelector("[name=confirm]")?.addEventListener("change", () => this.#changed());
    this.form.querySelector(".spot-try").hidden = true;
    this.form.querySelector(".spot-hand").hidden = false;
    this.form.querySelector(".spot-back").addEventListener("click", (event) => this.#putBack(event));
    panel.addEventListener("toggle", () => this.#open(panel.open));
    this.#open(panel.open);
  }

  #open(open) {
    this.#away?.();
    this.#away = open ? this.glass.addHand(this.#hand()) : null;
    this.glass.element.setAttribute("aria-describedby", open ? "viewer-keys spot-hand" : "viewer-keys");
    this.#choose(this.#chosen);
  }

  #choose(row) {
    this.#chosen = row;
    row.radio.checked = true;
    for (const other of this.#rows) other.element.classList.toggle("chosen", other === row);
    this.#draw();
  }

  #draw() {
    this.glass.markSpots(
      this.#rows
        .filter((row) => row.place)
        .map((row) => ({
          letter: row.letter,
          ...row.place,
          diameter_mm: row.diameter,
          chosen: this.panel.open && row === this.#chosen,
        })),
    );
  }

  // ---- by hand

  #hand() {
    return {
      press: (place, event) => {
        if (event.timeStamp - this.#dropped > SAME_MS) this.#put(place);
        return true;
      },
      grab: (place, event) => {
        const row = this.#under(place, event.pointerType === "touch" ? 24 : 10);
        if (!row) return false;
        this.#choose(row);
        this.#drag = { x: row.place.x - place.x, y: row.place.y - place.y, from: place };
        return true;
      },
      drag: (place) => {
        const { x, y, from } = this.#drag;
        if (!this.#drag.moves && this.glass.apart(place, from) < 3) return;
        this.#drag.moves = true;
        this.#put({ x: place.x + x, y: place.y + y });
      },
      drop: (place, event) => {
        this.#drag = null;
        this.#dropped = event.timeStamp;
      },
      arrow: (across, down) => {
        const { glass } = this;
        this.#put(glass.beside(this.#chosen.place ?? glass.view, STEP * across, STEP * down));
        glass.reveal(this.#chosen.place);
        return true;
      },
      key: (event) => {
        const does = {
          "[": () => this.#resize(-1),
          "]": () => this.#resize(1),
          Enter: () => this.#put(this.glass.view),
          Escape: () => this.#takeBack(),
        };
        if (!Object.hasOwn(does, event.key)) return false;
        does[event.key]();
        return true;
      },
    };
  }

  /* The spot under a pointer, the nearest of several; within some pixels of its edge. */
  #under(place, slack) {
    const { glass } = this;
    let nearest = null;
    for (const row of this.#rows) {
      if (!row.place) continue;
      const away = glass.apart(place, row.place);
      const reach = Math.max(glass.radiusOnScreen(row.diameter), 4) + slack;
      if (away <= reach && (!nearest || away < nearest.away)) nearest = { row, away };
    }
    return nearest?.row ?? null;
  }

  #put({ x, y }) {
    this.#chosen.place = { x: Math.min(1, Math.max(0, x)), y: Math.min(1, Math.max(0, y)) };
    this.#changed();
  }

  #resize(by) {
    const now = this.#chosen.diameter;
    const next = by > 0 ? DIAMETERS.find((one) => one > now) : DIAMETERS.findLast((one) => one < now);
    if (next === undefined) return;
    this.#chosen.diameter = next;
    this.#changed();
  }

  #takeBack() {
    this.#chosen.takeBack();
    this.#changed();
  }

  #putBack(event) {
    event.preventDefault();
    for (const row of this.#rows) row.takeBack();
    const confirm = this.form.querySelector("[name=confirm]");
    if (confirm) confirm.checked = false;
    this.#wanted = false;
    this.#show(this.#kept);
    this.#draw();
    this.#say("Put back.");
  }

  // ---- what would be found

  #changed() {
    this.#draw();
    this.#wanted = true;
    if (!this.#asking) this.#ask();
  }

  async #ask() {
    this.#asking = true;
    while (this.#wanted) {
      await new Promise((resolve) => setTimeout(resolve, WAIT_MS));
      this.#wanted = false;
      if (!this.form.checkValidity()) break;
      const answer = await this.#answer();
      // What has been put elsewhere meanwhile, or back, isn't shown any more.
      if (this.#wanted || answer === null) continue;
      this.#show(answer);
      this.#say(`${this.#chosen.name}: ${words(this.#chosen.found)} ${words(this.form.querySelector(".spot-verdict"))}`);
    }
    this.#asking = false;
  }

  async #answer() {
    const sent = this.#written();
    try {
      const answer = await fetch(this.form.dataset.try, { method: "POST", body: new URLSearchParams(sent) });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (this.#written() !== sent) return null;
      const parts = new Map();
      for (const part of followers(page)) parts.set(part.dataset.follows, copies(part));
      return parts.size ? parts : this.#fault(words(page.querySelector("main")));
    } catch {
      return this.#fault("What would be found there could not be asked of the server; the spots stay where you put them.");
    }
  }

  #written() {
    return new URLSearchParams(new FormData(this.form)).toString();
  }

  #fault(sentence) {
    const said = document.createElement("p");
    said.textContent = sentence;
    return new Map([["fault", [said]]]);
  }

  #show(parts) {
    for (const part of followers(document)) {
      const fresh = parts.get(part.dataset.follows);
      if (fresh) part.replaceChildren(...fresh.map((node) => document.importNode(node, true)));
    }
  }
}

/* One spot in the form. */
class Row {
  constructor(element) {
    this.element = element;
    this.letter = element.dataset.letter;
    this.radio = element.querySelector("[type=radio]");
    this.found = element.querySelector(".spot-found");
    [this.x, this.y, this.d] = ["x", "y", "d"].map((field) => element.querySelector(`[name^="${field}-"]`));
    this.name = element.querySelector('[name^="name-"]').value;
    this.was = element.querySelector('[name^="was-"]').value.split(" ");
  }

  get place() {
    const [x, y] = [number(this.x), number(this.y)];
    return x === null || y === null ? null : { x: x / 100, y: y / 100 };
  }

  set place({ x, y }) {
    this.x.value = written(100 * x);
    this.y.value = written(100 * y);
  }

  get diameter() {
    return number(this.d) ?? 2;
  }

  set diameter(mm) {
    this.d.value = written(mm);
  }

  takeBack() {
    [this.x.value, this.y.value, this.d.value] = this.was;
  }
}

function number(field) {
  const text = field.value.trim().replace(",", ".");
  return text === "" || !Number.isFinite(Number(text)) ? null : Number(text);
}

function written(value) {
  return String(Number(value.toFixed(3)));
}

function followers(page) {
  return [...page.querySelectorAll("[data-follows]")];
}

function copies(part) {
  return [...part.childNodes].map((node) => node.cloneNode(true));
}

function words(element) {
  return element?.textContent.replace(/\s+/g, " ").trim() ?? "";
}
