/* One scan under the glass.

   Tiles come by the IIIF Image API as they lie in the pyramid; the way of seeing is drawn on them here, by looking
   each tone up in tables that the server worked out. Nothing is computed but places on the screen.

   Places are fractions of the scan's width and height from its top left, {x, y}, everywhere outside this file but
   where a method says that it takes a place of the map. */

const OVER = { weight: 1.5, color: "#fff" };
const UNDER = { weight: 4, color: "#000" };

/* Lines that show on light and on dark: white upon black. */
export function ringed(shape, at, options = {}) {
  return [UNDER, OVER].map((line) => shape(at, { ...line, ...options, fill: false, interactive: false }));
}

export class Glass {
  #heard = new Map();
  #hands = [];
  #live = new Set();
  #wide = 0;
  #quiet = false;
  #zoomWhole = 0;
  #lies;
  #leads;
  #table = null;
  #tiles;
  #frame;
  #marks;
  #spots = [];
  #held = null; // {hand, id} while a hand drags something of its own

  /* element: where it stands, `tabindex=0`. scan: the viewer document. More, all optional:
       lies    {swapped, flipped_x, flipped_y}: how the scan lies against the way in which it is to be seen
       shape   width over height of the element, else the scan's own
       slack   how far one may go beyond the scan: this part of it past its edges, this many powers of two from
               where it is seen whole
       leads   false: left as it is when the element's size changes, because another glass leads this one. */
  constructor(element, scan, { lies = null, shape = null, slack = 0, leads = true } = {}) {
    this.element = element;
    this.scan = scan;
    this.slack = slack;
    this.#leads = leads;
    this.#lies = { swapped: false, flipped_x: false, flipped_y: false, ...lies };
    /* Width and height as seen, in pixels of the scan. */
    this.size = this.#lies.swapped ? [scan.height, scan.width] : [scan.width, scan.height];
    /* Whether there is nothing to drag and a finger scrolls the page. */
    this.still = () => this.seenWhole;
    this.top = scan.levels.length - 1;
    this.way = scan.tables ? "printed" : "scanned";
    /* What zooming holds on to: a place of the map, or null for the middle. */
    this.hold = null;
    element.style.aspectRatio = String(shape ?? this.size[0] / this.size[1]);

    this.bounds = L.latLngBounds(this.place(0, 0), this.place(1, 1));
    this.map = L.map(element, {
      crs: L.CRS.Simple,
      attributionControl: false,
      zoomControl: false,
      keyboard: false,
      zoomSnap: 0,
      zoomAnimation: false,
      fadeAnimation: false,
      markerZoomAnimation: false,
      inertia: false,
      scrollWheelZoom: false,
      wheelPxPerZoomLevel: 100,
      doubleClickZoom: true,
      maxBounds: this.bounds.pad(0.1 + slack),
      maxBoundsViscosity: 1,
      maxZoom: this.top + 4,
    });
    this.#tiles = this.#lay();
    this.#marks = L.layerGroup();
    this.#frame = L.layerGroup().addTo(this.#marks);
    if (scan.frame) {
      const [x0, y0, x1, y1] = scan.frame;
      const box = [this.place(x0, y1), this.place(x1, y0)];
      ringed(L.rectangle, box, { dashArray: "6 5" }).forEach((line, upper) =>
        line.setStyle({ weight: upper ? 0.5 : 3 }).addTo(this.#frame),
      );
    }
    this.#listen();
    this.whole();
    this.#tiles.addTo(this.map);
    this.markSpots(scan.spots);
    this.showMarks(true);
    this.see(this.way);
  }

  // ---- events: "way" (way), "view" (), "size" (), "marks" (on), "fault" (sentence)

  on(name, hear) {
    if (!this.#heard.has(name)) this.#heard.set(name, []);
    this.#heard.get(name).push(hear);
    return this;
  }

  #say(name, ...what) {
    for (const hear of this.#heard.get(name) ?? []) hear(...what);
  }

  // ---- places

  /* A place of the map for one of the scan, and back. */
  place(x, y) {
    const { swapped, flipped_x: flippedX, flipped_y: flippedY } = this.#lies;
    const [along, down] = [flippedX ? 1 - x : x, flippedY ? 1 - y : y];
    const [u, v] = swapped ? [down, along] : [along, down];
    return L.latLng((-v * this.size[1]) / 2 ** this.top, (u * this.size[0]) / 2 ** this.top);
  }

  fractions(at) {
    const { swapped, flipped_x: flippedX, flipped_y: flippedY } = this.#lies;
    const [u, v] = [(at.lng * 2 ** this.top) / this.size[0], (-at.lat * 2 ** this.top) / this.size[1]];
    const [along, down] = swapped ? [v, u] : [u, v];
    return { x: flippedX ? 1 - along : along, y: flippedY ? 1 - down : down };
  }

  /* Where a pointer is; outside the scan below 0 or above 1. */
  pointed(event) {
    return this.fractions(this.map.mouseEventToLatLng(event));
  }

  /* The place some steps on the screen away from another, held within the scan. */
  beside({ x, y }, across, down) {
    const from = this.map.latLngToContainerPoint(this.place(x, y));
    return within(this.fractions(this.map.containerPointToLatLng(from.add([across, down]))));
  }

  /* The radius, in lengths of the map, of a circle that is so many mm wide on the film; 0 where that isn't known. */
  radius(mm) {
    return ((mm / 2) * (this.scan.px_per_mm || 0)) / 2 ** this.top;
  }

  radiusOnScreen(mm) {
    return this.radius(mm) * 2 ** this.map.getZoom();
  }

  /* How far two places are from each other, in pixels of the screen. */
  apart(one, other) {
    const [from, to] = [one, other].map(({ x, y }) => this.map.latLngToContainerPoint(this.place(x, y)));
    return from.distanceTo(to);
  }

  // ---- ways of seeing

  see(way) {
    if (way !== "scanned" && !this.scan.tables) return;
    this.way = way;
    this.#table = this.#colours();
    for (const tile of this.#live) if (tile.blob) this.#paint(tile);
    this.element.dataset.way = way;
    this.#say("way", way);
  }

  #colours() {
    const { tables, legend } = this.scan;
    if (this.way === "scanned" || !tables) return null;
    if (this.way === "printed") return tables.printed.map((grey) => [grey, grey, grey]);
    const of = legend.map(({ colour }) => [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16)));
    return tables.zones.map((zone) => (zone === null ? null : of[zone]));
  }

  async #paint(tile) {
    const seen = this.way;
    const lookup = this.#table;
    // A colour profile is for the eye; a table is for the tones as they are.
    const bitmap = await createImageBitmap(tile.blob, { colorSpaceConversion: lookup ? "none" : "default" });
    if (tile.gone || seen !== this.way) return;
    const { context } = tile;
    context.clearRect(0, 0, this.scan.tile, this.scan.tile);
    // The scan's own pixels, laid as they are to be seen.
    const { swapped, flipped_x: flippedX, flipped_y: flippedY } = this.#lies;
    const [w, h] = [bitmap.width, bitmap.height];
    const [x, y] = [flippedX ? -1 : 1, flippedY ? -1 : 1];
    const [offX, offY] = [flippedX ? w : 0, flippedY ? h : 0];
    context.setTransform(...(swapped ? [0, x, y, 0, offY, offX] : [x, 0, 0, y, offX, offY]));
    context.drawImage(bitmap, 0, 0);
    context.resetTransform();
    bitmap.close();
    if (!lookup) return;
    const pixels = context.getImageData(0, 0, tile.width, tile.height);
    const { data } = pixels;
    const { channel } = this.scan.tables;
    for (let at = 0, n = 0; at < data.length; at += 4, n += 1) {
      const colour = lookup[data[at + channel]];
      if (colour) {
        [data[at], data[at + 1], data[at + 2]] = colour;
      } else {
        const stripe = ((n % tile.width) + Math.floor(n / tile.width)) & 4 ? 90 : 200;
        data[at] = data[at + 1] = data[at + 2] = stripe;
      }
    }
    context.putImageData(pixels, 0, 0);
  }

  // ---- the tiles

  #lay() {
    const { scan, top } = this;
    const fine = window.devicePixelRatio >= 1.5 ? 1 : 0; // a tile then takes half its pixels across
    const glass = this;
    const Tiles = L.GridLayer.extend({
      createTile(coords, done) {
        return glass.#tile(coords, top - coords.z - fine, done);
      },
    });
    const tiles = new Tiles({
      tileSize: scan.tile / 2 ** fine,
      minNativeZoom: -fine,
      maxNativeZoom: top - fine,
      minZoom: -20,
      maxZoom: top + 4,
      noWrap: true,
      bounds: this.bounds,
      keepBuffer: 1,
    });
    tiles.on("tileunload", ({ tile: canvas }) => {
      canvas.tile.gone = true;
      canvas.tile.stop.abort();
      this.#live.delete(canvas.tile);
    });
    return tiles;
  }

  #tile(coords, level, done) {
    const { scan } = this;
    const factor = 2 ** level;
    const step = scan.tile * factor;
    const start = [coords.x * step, coords.y * step];
    const [w, h] = start.map((from, side) => Math.min(step, this.size[side] - from));
    const canvas = document.createElement("canvas");
    canvas.width = canvas.height = scan.tile;
    const tile = {
      context: canvas.getContext("2d", { willReadFrequently: true }),
      width: Math.ceil(w / factor),
      height: Math.ceil(h / factor),
      stop: new AbortController(),
      blob: null,
      gone: false,
    };
    canvas.tile = tile;
    this.#live.add(tile);
    const { swapped, flipped_x: flippedX, flipped_y: flippedY } = this.#lies;
    const turned = (pair) => (swapped ? [pair[1], pair[0]] : pair);
    const [[left, upper], wide] = [turned(start), turned([w, h])];
    const x = flippedX ? scan.width - left - wide[0] : left;
    const y = flippedY ? scan.height - upper - wide[1] : upper;
    const size = turned([tile.width, tile.height]);
    fetch(`${scan.image}/${x},${y},${wide}/${size}/0/default.jpg?v=${scan.stamp}`, {
      signal: tile.stop.signal,
    })
      .then((answer) => (answer.ok ? answer.blob() : Promise.reject(new Error(answer.statusText))))
      .then((blob) => {
        tile.blob = blob;
        return this.#paint(tile);
      })
      .then(
        () => done(null, canvas),
        (error) => {
          if (!tile.gone) this.#say("fault", "A part of the picture could not be fetched.");
          done(error, canvas);
        },
      );
    return canvas;
  }

  // ---- marks: the frame and the readings' spots

  /* Draw spots anew: [{letter, x, y, diameter_mm, chosen?}]. A chosen one is drawn heavier. */
  markSpots(spots) {
    const layers = [];
    for (const { letter, x, y, diameter_mm: diameter, chosen } of spots) {
      const at = this.place(x, y);
      const radius = this.radius(diameter);
      layers.push(...ringed((where, options) => L.circle(where, { ...options, radius }), at));
      if (chosen) layers.slice(-2).forEach((line, upper) => line.setStyle({ weight: upper ? 3 : 6 }));
      const name = document.createElement("span");
      name.textContent = letter;
      const icon = L.divIcon({ className: "glass-letter", html: name, iconSize: [16, 16], iconAnchor: [-6, 8] });
      const edge = L.latLng(at.lat, at.lng + radius);
      layers.push(L.marker(edge, { icon, interactive: false, keyboard: false }));
    }
    for (const layer of layers) this.#marks.addLayer(layer);
    for (const layer of this.#spots) this.#marks.removeLayer(layer);
    this.#spots = layers;
  }

  get marksShown() {
    return this.map.hasLayer(this.#marks);
  }

  showMarks(on) {
    if (on) this.#marks.addTo(this.map);
    else this.#marks.remove();
    this.#say("marks", on);
  }

  // ---- moving about

  /* What is seen: its middle, and how many pixels of the screen one of the scan takes. */
  get view() {
    return { ...this.fractions(this.map.getCenter()), scale: 2 ** (this.map.getZoom() - this.top) };
  }

  set view({ x, y, scale }) {
    this.map.setView(this.place(x, y), this.#allowed(Math.log2(scale) + this.top), { animate: false });
  }

  get seenWhole() {
    return this.map.getZoom() <= this.#zoomWhole + 0.01;
  }

  whole() {
    this.map.setMinZoom(-20);
    this.map.fitBounds(this.bounds, { animate: false });
    this.#zoomWhole = this.map.getZoom();
    this.map.setMinZoom(this.#zoomWhole - this.slack);
    this.#settle();
  }

  zoom(by) {
    const next = this.#allowed(this.map.getZoom() + by);
    if (this.#inSight(this.hold)) this.map.setZoomAround(this.hold, next, { animate: false });
    else this.map.setZoom(next, { animate: false });
  }

  #allowed(zoom) {
    return Math.min(this.map.getMaxZoom(), Math.max(this.map.getMinZoom(), zoom));
  }

  #inSight(at) {
    return at !== null && this.map.getBounds().contains(at);
  }

  /* Move the picture under the eye, in quarters of what is seen. */
  move(across, down) {
    const size = this.map.getSize();
    this.map.panBy([(across * size.x) / 4, (down * size.y) / 4], { animate: false });
  }

  /* Bring a place into sight, where it isn't. */
  reveal({ x, y }) {
    const at = this.place(x, y);
    if (!this.#inSight(at)) this.map.panTo(at, { animate: false });
  }

  #settle() {
    if (this.still() || this.#held) this.map.dragging.disable();
    else this.map.dragging.enable();
    this.element.classList.toggle("grains", this.map.getZoom() > this.top + 0.5);
    this.element.dataset.zoom = this.map.getZoom().toFixed(2);
  }

  // ---- hands

  /* Let somebody work on the glass. A hand may have, each getting a place {x, y} and the browser's event:
       hover(place, event)  the pointer moved over the scan
       press(place, event)  a click or a tap
       arrow(across, down, event)  an arrow key without Shift, −1, 0 or 1 each way, as seen
       key(event)  any other key, before the glass's own
       grab(place, event)  the pointer went down; true holds the picture still, and then come
       drag(place, event), drop(place, event)  until it goes up; a place within the scan.
     The hand that came last is asked first; what answers true is not passed on. Returns what takes it away. */
  addHand(hand) {
    this.#hands.unshift(hand);
    return () => {
      this.#hands = this.#hands.filter((other) => other !== hand);
    };
  }

  #ask(does, ...what) {
    return this.#hands.find((hand) => hand[does]?.(...what) === true);
  }

  #listen() {
    const { element, map } = this;
    const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const keys = {
      "+": () => this.zoom(1),
      "=": () => this.zoom(1),
      "-": () => this.zoom(-1),
      "−": () => this.zoom(-1),
      0: () => this.whole(),
      1: () => this.see("scanned"),
      2: () => this.see("printed"),
      3: () => this.see("zones"),
    };
    element.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey) return;
      if (Object.hasOwn(arrows, event.key)) {
        if (event.shiftKey) this.move(...arrows[event.key]);
        else if (!this.#ask("arrow", ...arrows[event.key], event)) return;
      } else if (!this.#ask("key", event)) {
        if (!Object.hasOwn(keys, event.key)) return;
        keys[event.key]();
      }
      event.preventDefault();
    });

    map.on("mousemove", ({ latlng, originalEvent }) => {
      if (this.#held === null && this.bounds.contains(latlng)) {
        this.#ask("hover", this.fractions(latlng), originalEvent);
      }
    });
    map.on("click", ({ latlng, originalEvent }) => {
      this.#ask("press", within(this.fractions(latlng)), originalEvent);
    });
    map.on("zoomend", () => this.#settle());
    map.on("move", () => this.#quiet || this.#say("view"));

    // Before the map hears of it, so that what a hand holds isn't the picture.
    element.addEventListener("pointerdown", (event) => this.#grab(event), { capture: true });
    element.addEventListener("pointermove", (event) => this.#drag("drag", event));
    for (const end of ["pointerup", "pointercancel"]) {
      element.addEventListener(end, (event) => this.#drag("drop", event));
    }
    element.addEventListener("touchstart", (event) => this.#held && event.preventDefault(), { passive: false });
    // The wheel scrolls the page until one has taken hold of the picture.
    element.addEventListener("focus", () => map.scrollWheelZoom.enable());
    element.addEventListener("blur", () => map.scrollWheelZoom.disable());

    new ResizeObserver(() => {
      const before = this.seenWhole;
      if (element.clientWidth === this.#wide) return;
      this.#wide = element.clientWidth;
      this.#quiet = true;
      map.invalidateSize({ animate: false });
      if (before && this.#leads) this.whole();
      this.#quiet = false;
      this.#say("size");
    }).observe(element);
  }

  #grab(event) {
    this.element.focus({ preventScroll: true });
    if (!event.isPrimary || event.button !== 0) return;
    const hand = this.#ask("grab", this.pointed(event), event);
    if (!hand) return;
    this.#held = { hand, id: event.pointerId };
    this.element.setPointerCapture(event.pointerId);
    this.#settle();
  }

  #drag(does, event) {
    if (this.#held?.id !== event.pointerId) return;
    const { hand } = this.#held;
    if (does === "drop") {
      this.#held = null;
      this.#settle();
    }
    hand[does]?.(within(this.pointed(event)), event);
  }
}

/* Hold a place within the scan. */
export function within({ x, y }) {
  return { x: Math.min(1, Math.max(0, x)), y: Math.min(1, Math.max(0, y)) };
}
