/* The negative under the glass.

   Tiles come by the IIIF Image API as they lie in the pyramid; the way of seeing is drawn on them here, by looking
   each tone up in tables that the server worked out. Nothing is computed but places on the screen. */
"use strict";

(() => {
  const viewer = document.getElementById("viewer");
  if (!viewer || !window.L || !window.createImageBitmap) return;

  const glass = viewer.querySelector(".glass");
  const status = viewer.querySelector("[role=status]");
  const note = viewer.querySelector(".probe-note");
  const reason = viewer.querySelector(".viewer-reason");
  const legend = viewer.querySelector(".zone-legend");
  const strip = viewer.querySelector(".zone-strip");
  const aperture = viewer.querySelector(".aperture select");
  const ways = [...viewer.querySelectorAll("input[name=way]")];
  const button = (does) => viewer.querySelector(`button[data-does=${does}]`);
  const shows = [...viewer.querySelectorAll("[data-shows]")];

  fetch(viewer.dataset.document)
    .then((answer) => (answer.ok ? answer.json() : Promise.reject(new Error(answer.statusText))))
    .then(open, () => {}); // without it the plain picture stays

  function open(scan) {
    viewer.hidden = false;
    viewer.parentElement.classList.add("under-glass");
    glass.style.aspectRatio = `${scan.width} / ${scan.height}`;

    const top = scan.levels.length - 1;
    const bounds = L.latLngBounds(place(0, 1), place(1, 0));
    const map = L.map(glass, {
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
      maxBounds: bounds.pad(0.1),
      maxBoundsViscosity: 1,
      maxZoom: top + 4,
    });

    // A place on the picture, in fractions of it, and back.
    function place(x, y) {
      return L.latLng((-y * scan.height) / 2 ** top, (x * scan.width) / 2 ** top);
    }
    function fractions(at) {
      return [(at.lng * 2 ** top) / scan.width, (-at.lat * 2 ** top) / scan.height];
    }

    // ---- the three ways of seeing

    let way = scan.tables ? "printed" : "scanned";
    const live = new Set();

    function colours() {
      if (way === "scanned" || !scan.tables) return null;
      if (way === "printed") return scan.tables.printed.map((grey) => [grey, grey, grey]);
      const of = scan.legend.map(({ colour }) => [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16)));
      return scan.tables.zones.map((zone) => (zone === null ? null : of[zone]));
    }
    let table = colours();

    async function paint(tile) {
      const seen = way;
      const lookup = table;
      // A colour profile is for the eye; a table is for the tones as they are.
      const bitmap = await createImageBitmap(tile.blob, { colorSpaceConversion: lookup ? "none" : "default" });
      if (tile.gone || seen !== way) return;
      const { context } = tile;
      context.clearRect(0, 0, scan.tile, scan.tile);
      context.drawImage(bitmap, 0, 0);
      bitmap.close();
      if (!lookup) return;
      const pixels = context.getImageData(0, 0, tile.width, tile.height);
      const { data } = pixels;
      const channel = scan.tables.channel;
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

    function see(next) {
      if (next !== "scanned" && !scan.tables) return;
      way = next;
      table = colours();
      for (const input of ways) input.checked = input.value === way;
      legend.hidden = way !== "zones";
      strip.classList.toggle("blank", way === "scanned");
      [...strip.children].forEach((item, zone) => {
        const { colour, grey } = scan.legend[zone];
        item.firstChild.style.background = way === "zones" ? colour : `rgb(${grey}, ${grey}, ${grey})`;
      });
      for (const tile of live) if (tile.blob) paint(tile);
      glass.dataset.way = way;
    }

    // ---- the tiles

    const fine = window.devicePixelRatio >= 1.5 ? 1 : 0; // a tile then takes half its pixels across
    const Tiles = L.GridLayer.extend({
      createTile(coords, done) {
        const level = top - coords.z - fine;
        const factor = 2 ** level;
        const step = scan.tile * factor;
        const [x, y] = [coords.x * step, coords.y * step];
        const [w, h] = [Math.min(step, scan.width - x), Math.min(step, scan.height - y)];
        const canvas = document.createElement("canvas");
        canvas.width = canvas.height = scan.tile;
        const tile = {
          canvas,
          context: canvas.getContext("2d", { willReadFrequently: true }),
          width: Math.ceil(w / factor),
          height: Math.ceil(h / factor),
          stop: new AbortController(),
          blob: null,
          gone: false,
        };
        canvas.tile = tile;
        live.add(tile);
        fetch(`${scan.image}/${x},${y},${w},${h}/${tile.width},${tile.height}/0/default.jpg?v=${scan.stamp}`, {
          signal: tile.stop.signal,
        })
          .then((answer) => (answer.ok ? answer.blob() : Promise.reject(new Error(answer.statusText))))
          .then((blob) => {
            tile.blob = blob;
            return paint(tile);
          })
          .then(
            () => done(null, canvas),
            (error) => {
              if (!tile.gone) note.textContent = "A part of the picture could not be fetched.";
              done(error, canvas);
            },
          );
        return canvas;
      },
    });
    const tiles = new Tiles({
      tileSize: scan.tile / 2 ** fine,
      minNativeZoom: -fine,
      maxNativeZoom: top - fine,
      minZoom: -20,
      maxZoom: top + 4,
      noWrap: true,
      bounds,
      keepBuffer: 1,
    });
    tiles.on("tileunload", ({ tile: canvas }) => {
      canvas.tile.gone = true;
      canvas.tile.stop.abort();
      live.delete(canvas.tile);
    });

    // ---- marks: the frame and the readings' spots

    const radius = (mm) => ((mm / 2) * (scan.px_per_mm || 0)) / 2 ** top;
    const ringed = (shape, ...options) =>
      [
        { color: "#000", weight: 4 },
        { color: "#fff", weight: 1.5 },
      ].map((line) => shape(...options, { ...line, fill: false, interactive: false }));
    const dashed = (options) => ({ ...options, weight: options.weight - 1, dashArray: "6 5" });
    const marks = L.layerGroup();
    if (scan.frame) {
      const [x0, y0, x1, y1] = scan.frame;
      const box = [place(x0, y1), place(x1, y0)];
      ringed((at, options) => L.rectangle(at, dashed(options)), box).forEach((line) => marks.addLayer(line));
    }
    for (const spot of scan.spots) {
      const at = place(spot.x, spot.y);
      ringed((where, options) => L.circle(where, { ...options, radius: radius(spot.diameter_mm) }), at).forEach(
        (line) => marks.addLayer(line),
      );
      const letter = document.createElement("span");
      letter.textContent = spot.letter;
      const icon = L.divIcon({ className: "glass-letter", html: letter, iconSize: [16, 16], iconAnchor: [-6, 8] });
      const edge = L.latLng(at.lat, at.lng + radius(spot.diameter_mm));
      marks.addLayer(L.marker(edge, { icon, interactive: false, keyboard: false }));
    }

    function mark(on) {
      button("marks").setAttribute("aria-pressed", String(on));
      if (on) marks.addTo(map);
      else marks.remove();
    }

    // ---- the probe

    let at = null; // where it is
    let wanted = null;
    let asking = false;
    let saying = 0;
    const ring = ringed((where, options) => L.circle(where, { ...options, radius: 1 }), place(0.5, 0.5));
    const cross = L.marker(place(0.5, 0.5), {
      icon: L.divIcon({ className: "glass-cross", iconSize: [21, 21], iconAnchor: [10, 10] }),
      interactive: false,
      keyboard: false,
    });

    function probe(where) {
      const [x, y] = fractions(where).map((part) => Math.min(1, Math.max(0, part)));
      at = place(x, y);
      for (const line of ring) {
        line.setLatLng(at).setRadius(radius(Number(aperture.value)));
        if (scan.px_per_mm) line.addTo(map);
      }
      cross.setLatLng(at).addTo(map);
      if (!scan.measurable) {
        status.textContent = scan.reason;
        return;
      }
      wanted = [x, y];
      if (!asking) ask();
    }

    async function ask() {
      asking = true;
      while (wanted) {
        const [x, y] = wanted;
        wanted = null;
        const query = `&x=${x.toFixed(6)}&y=${y.toFixed(6)}&d=${aperture.value}`;
        try {
          const answer = await fetch(viewer.dataset.probe + query);
          const found = await answer.json();
          tell(answer.ok ? found : { words: found.error });
        } catch {
          tell({ words: "The probe could not ask the server." });
        }
        await new Promise((resolve) => setTimeout(resolve, 30));
      }
      asking = false;
    }

    function tell(found) {
      for (const element of shows) element.textContent = found[element.dataset.shows] || "–";
      note.textContent = found.net_text ? "" : found.words;
      for (const items of [legend.querySelectorAll("li"), strip.children]) {
        [...items].forEach((item, zone) => item.classList.toggle("here", zone === found.nearest_zone));
      }
      // Said once the probe has come to rest, so that nobody is talked over.
      clearTimeout(saying);
      saying = setTimeout(() => {
        status.textContent = found.words;
      }, 700);
    }

    // ---- moving about

    function whole() {
      map.setMinZoom(-20);
      map.fitBounds(bounds, { animate: false });
      map.setMinZoom(map.getZoom());
      settle();
    }
    function zoom(by) {
      const next = Math.min(map.getMaxZoom(), Math.max(map.getMinZoom(), map.getZoom() + by));
      if (at && map.getBounds().contains(at)) map.setZoomAround(at, next, { animate: false });
      else map.setZoom(next, { animate: false });
    }
    function step(across, down, far) {
      const size = map.getSize();
      if (far) {
        map.panBy([(across * size.x) / 4, (down * size.y) / 4], { animate: false });
        return;
      }
      const from = at && map.getBounds().contains(at) ? at : map.getCenter();
      const to = map.latLngToContainerPoint(from).add([across * 12, down * 12]);
      probe(map.containerPointToLatLng(to));
      if (!map.getBounds().contains(at)) map.panTo(at, { animate: false });
    }

    const keys = {
      ArrowLeft: (far) => step(-1, 0, far),
      ArrowRight: (far) => step(1, 0, far),
      ArrowUp: (far) => step(0, -1, far),
      ArrowDown: (far) => step(0, 1, far),
      "+": () => zoom(1),
      "=": () => zoom(1),
      "-": () => zoom(-1),
      "−": () => zoom(-1),
      0: whole,
      1: () => see("scanned"),
      2: () => see("printed"),
      3: () => see("zones"),
    };
    glass.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey || !Object.hasOwn(keys, event.key)) return;
      event.preventDefault();
      keys[event.key](event.shiftKey);
    });

    map.on("mousemove", (event) => {
      if (bounds.contains(event.latlng)) probe(event.latlng);
    });
    map.on("click", (event) => probe(event.latlng));
    // The wheel scrolls the page until one has taken hold of the picture.
    glass.addEventListener("pointerdown", () => glass.focus({ preventScroll: true }));
    glass.addEventListener("focus", () => map.scrollWheelZoom.enable());
    glass.addEventListener("blur", () => map.scrollWheelZoom.disable());

    function settle() {
      const closer = map.getZoom() > map.getMinZoom() + 0.01;
      // Seen whole there is nothing to drag, and a finger scrolls the page.
      if (closer) map.dragging.enable();
      else map.dragging.disable();
      glass.classList.toggle("grains", map.getZoom() > top + 0.5);
      glass.dataset.zoom = map.getZoom().toFixed(2);
    }
    map.on("zoomend", settle);
    let wide = 0;
    new ResizeObserver(() => {
      const before = map.getZoom() <= map.getMinZoom() + 0.01;
      if (glass.clientWidth === wide) return;
      wide = glass.clientWidth;
      map.invalidateSize({ animate: false });
      if (before) whole();
    }).observe(glass);

    button("closer").addEventListener("click", () => zoom(1));
    button("farther").addEventListener("click", () => zoom(-1));
    button("whole").addEventListener("click", whole);
    button("marks").addEventListener("click", (event) =>
      mark(event.currentTarget.getAttribute("aria-pressed") !== "true"),
    );
    aperture.addEventListener("change", () => at && probe(at));
    for (const input of ways) {
      input.addEventListener("change", () => see(input.value));
      input.disabled = input.value !== "scanned" && !scan.tables;
    }

    // ---- the legend, and what can't be shown

    const list = legend.querySelector("ul");
    for (const { zone, word, colour } of [...scan.legend, { zone: "", word: "no known density", colour: "" }]) {
      const item = document.createElement("li");
      const swatch = document.createElement("i");
      const numeral = document.createElement("b");
      if (colour) swatch.style.background = colour;
      else item.className = "outside";
      numeral.textContent = zone;
      item.append(swatch, numeral, word);
      list.append(item);
    }
    for (const { zone } of scan.legend) {
      const item = document.createElement("span");
      item.append(document.createElement("i"), zone);
      strip.append(item);
    }
    strip.hidden = !scan.tables;
    reason.textContent = scan.reason;
    reason.hidden = !scan.reason;
    viewer.querySelector(".probe").hidden = !scan.measurable;

    whole();
    tiles.addTo(map);
    mark(true);
    see(way);
    viewer.dataset.ready = "yes";
  }
})();
