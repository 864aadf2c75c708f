/* Which colour is which print zone: shown while a picture is seen by zone. */

export class Legend {
  /* element: the part `_zone_legend.html`; zones: of a scan's document. */
  constructor(element, zones) {
    this.element = element;
    const list = element.querySelector("ul");
    for (const { zone, word, colour } of [...zones, { zone: "", word: "no known density", colour: "" }]) {
      const item = document.createElement("li");
      const swatch = document.createElement("i");
      const numeral = document.createElement("b");
      if (colour) swatch.style.background = colour;
      else item.className = "outside";
      numeral.textContent = zone;
      item.append(swatch, numeral, word);
      list.append(item);
    }
  }

  showFor(way) {
    this.element.hidden = way !== "zones";
  }

  get items() {
    return this.element.querySelectorAll("li");
  }
}
