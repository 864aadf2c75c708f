/* The sheet's page: one scan under the glass, the probe on it, the ways of seeing and the legend. */

import { joinBar } from "./bar.js";
import { Glass } from "./glass.js";
import { Legend } from "./legend.js";
import { Probe, sayAtRest } from "./probe.js";

/* Set the viewer up; gives {glass, probe, scan}, or null where there is none and the plain picture stays.
   Whoever works on the same glass (marks spots, say) waits for it: `opened.then((on) => on && …)`. */
export const opened = open(document.getElementById("viewer"));

async function open(viewer) {
  if (!viewer || !window.L || !window.createImageBitmap) return null;
  let scan;
  try {
    const answer = await fetch(viewer.dataset.document);
    if (!answer.ok) return null;
    scan = await answer.json();
  } catch {
    return null;
  }
  viewer.hidden = false;
  viewer.parentElement.classList.add("under-glass");

  const note = viewer.querySelector(".probe-note");
  const legend = new Legend(viewer.querySelector(".zone-legend"), scan.legend);
  const strip = viewer.querySelector(".zone-strip");
  const reason = viewer.querySelector(".viewer-reason");
  drawStrip(scan, strip);
  strip.hidden = !scan.tables;
  reason.textContent = scan.reason;
  reason.hidden = !scan.reason;
  viewer.querySelector(".probe").hidden = !scan.measurable;

  const glass = new Glass(viewer.querySelector(".glass"), scan);
  glass.on("fault", (sentence) => {
    note.textContent = sentence;
  });
  joinBar(viewer, glass);
  const showWay = (way) => {
    legend.showFor(way);
    strip.classList.toggle("blank", way === "scanned");
    [...strip.children].forEach((item, zone) => {
      const { colour, grey } = scan.legend[zone];
      item.firstChild.style.background = way === "zones" ? colour : `rgb(${grey}, ${grey}, ${grey})`;
    });
  };
  glass.on("way", showWay);
  showWay(glass.way);

  const aperture = viewer.querySelector(".aperture select");
  const probe = new Probe(glass, viewer.dataset.probe, Number(aperture.value));
  const status = viewer.querySelector("[role=status]");
  const say = sayAtRest(status);
  probe.on((found) => {
    if (!scan.measurable) {
      status.textContent = found.words;
      return;
    }
    for (const element of viewer.querySelectorAll("[data-shows]")) {
      element.textContent = found[element.dataset.shows] || "–";
    }
    note.textContent = found.net_text ? "" : found.words;
    for (const items of [legend.items, strip.children]) {
      [...items].forEach((item, zone) => item.classList.toggle("here", zone === found.nearest_zone));
    }
    say(found.words);
  });
  aperture.addEventListener("change", () => {
    probe.aperture = Number(aperture.value);
  });
  probe.follow();
  viewer.dataset.ready = "yes";
  return { glass, probe, scan };
}

function drawStrip(scan, strip) {
  for (const { zone } of scan.legend) {
    const item = document.createElement("span");
    item.append(document.createElement("i"), zone);
    strip.append(item);
  }
}
