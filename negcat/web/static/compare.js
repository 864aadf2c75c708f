/* Two scans of one sheet under two glasses, moved together, with one probe on both. */

import { joinBar } from "./bar.js";
import { Glass } from "./glass.js";
import { Legend } from "./legend.js";
import { Probe, sayAtRest } from "./probe.js";

const page = document.getElementById("comparing");
if (page && window.L && window.createImageBitmap) open(page);

async function fetched(address) {
  const answer = await fetch(address);
  if (!answer.ok) throw new Error(answer.statusText);
  return answer.json();
}

async function open(page) {
  const elements = [...page.querySelectorAll(".glass")];
  let pair, scans;
  try {
    [pair, ...scans] = await Promise.all([page, ...elements].map((element) => fetched(element.dataset.document)));
  } catch {
    return; // the plain pictures and the table stay
  }
  page.classList.add("under-glass");
  const bar = page.querySelector(".viewer-bar");
  const reading = page.querySelector(".probe");
  for (const element of [...elements, bar, reading, page.querySelector("#compare-keys")]) element.hidden = false;

  const spots = ["a", "b"].map((key) =>
    pair.readings.filter((found) => found[key]).map((found) => ({ letter: found.letter, ...found[key] })),
  );
  const shape = scans[0].width / scans[0].height;
  const glasses = scans.map(
    (scan, which) =>
      new Glass(
        elements[which],
        { ...scan, spots: spots[which] },
        which ? { shape, lies: pair.lies, slack: 1.5, leads: false } : { shape, slack: 0.5 },
      ),
  );
  const [first, second] = glasses;
  // A finger over either scrolls the page while the first is seen whole.
  second.still = first.still;
  const across = [(place) => moved(pair.places, place), (place) => moved(pair.back, place)];
  moveTogether(glasses, across);
  joinBar(bar, ...glasses);
  const legend = new Legend(page.querySelector(".zone-legend"), scans[0].legend);
  for (const [which, glass] of glasses.entries()) {
    glass.on("way", (way) => {
      see(glasses[1 - which], way);
      legend.showFor(way);
    });
  }
  second.see(first.way);
  legend.showFor(first.way);

  const note = page.querySelector(".probe-note");
  const say = sayAtRest(page.querySelector("[role=status]"));
  const aperture = page.querySelector(".aperture select");
  for (const glass of glasses) {
    glass.on("fault", (sentence) => {
      note.textContent = sentence;
    });
  }
  const tell = (found) => {
    for (const element of page.querySelectorAll("[data-shows]")) {
      element.textContent = found[element.dataset.shows] || "–";
    }
    note.textContent = found.difference_text ? "" : found.words;
    say(found.words);
  };
  const probes = glasses.map(
    (glass, which) =>
      new (class extends Probe {
        show(place) {
          super.show(place);
          const there = across[which](this.at);
          const other = probes[1 - which];
          if (inside(there)) other.mark(there);
          else other.leave();
        }

        /* Show where the other one is, and ask nothing. */
        mark(place) {
          super.show(place);
          this.stop();
        }
      })(glass, `${page.dataset.probe}&on=${"ab"[which]}`, Number(aperture.value)),
  );
  for (const probe of probes) {
    probe.measurable = true; // the server says what it can't find, scan by scan
    probe.on(tell).follow();
  }
  aperture.addEventListener("change", () => {
    for (const probe of probes) probe.diameter = Number(aperture.value);
    const last = probes.find((probe) => probe.at && probe.asked);
    if (last) last.put(last.at);
  });
  page.dataset.ready = "yes";
}

function see(glass, way) {
  if (glass.way !== way) glass.see(way);
}

function inside({ x, y }) {
  return x >= 0 && x <= 1 && y >= 0 && y <= 1;
}

/* Where a place of one scan lies on the other. */
function moved([[a, b, c], [d, e, f]], { x, y }) {
  return { x: a * x + b * y + c, y: d * x + e * y + f };
}

/* Whatever moves one glass moves the other to the same place of the film, as large. */
function moveTogether(glasses, across) {
  let moving = false;
  const follow = (which) => {
    if (moving) return;
    moving = true;
    const [here, other] = [glasses[which], glasses[1 - which]];
    const { scale, ...middle } = here.view;
    other.view = { ...across[which](middle), scale: scale / finer(across[which], here.scan, other.scan) };
    moving = false;
  };
  for (const [which, glass] of glasses.entries()) {
    glass.on("view", () => follow(which)).on("size", () => follow(0));
  }
  follow(0);
}

/* How many pixels of one scan a pixel of another is long, on the film. */
function finer(place, one, other) {
  const [at, right, down] = [
    { x: 0, y: 0 },
    { x: 1 / one.width, y: 0 },
    { x: 0, y: 1 / one.height },
  ].map(place);
  const [x1, y1] = [(right.x - at.x) * other.width, (right.y - at.y) * other.height];
  const [x2, y2] = [(down.x - at.x) * other.width, (down.y - at.y) * other.height];
  return Math.sqrt(Math.abs(x1 * y2 - x2 * y1));
}
