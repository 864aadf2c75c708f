"use strict";

/* Takes sheet records where there is no network, and keeps them in the browser until they are saved as a record file.
   Whether a text can be a stop, a time, a tag is told by the archive's own patterns; what it amounts to is worked
   out at home. */

const known = JSON.parse(document.getElementById("archive").textContent);
const form = document.getElementById("record");
const rows = document.getElementById("readings");
const said = document.getElementById("said");
const place = `negcat field form ${known.key}`;
const taken = new Set(known.taken.map((id) => id.toLowerCase()));
const LEAST_ROWS = 2;

const KEEPS_NOTHING =
  "This browser keeps nothing of what is written here: save the record file before you close the page.";

/* What is kept: the sheets taken, what stands in the form, which sheet is being changed, what stood in the form before
   that, and how often it was written. */
let kept = { sheets: [], fields: null, changing: null, before: null, count: 0 };

function stored() {
  try {
    return JSON.parse(localStorage.getItem(place));
  } catch {
    return null; // nothing was kept, or nothing that can be read
  }
}

/* A page that is loaded again right after it has written may find the browser's store as it was before; so each page
   has a copy with it that goes where it goes, and the one written last counts. */
function read() {
  for (const found of [stored(), history.state]) {
    if (Array.isArray(found?.sheets) && (found.count ?? 0) >= kept.count) kept = found;
  }
}

function keep() {
  kept.fields = typed();
  kept.count += 1;
  try {
    history.replaceState(kept, "");
    localStorage.setItem(place, JSON.stringify(kept));
  } catch {
    said.textContent = KEEPS_NOTHING;
  }
}

/* ---- fields */

const controls = () => [...form.querySelectorAll("[data-field] input, [data-field] select, [data-field] textarea")];
const controlOf = (name) => form.elements[name];

function typed() {
  const fields = {};
  for (const control of controls()) fields[control.name] = control.value;
  return fields;
}

function fill(fields) {
  rows.replaceChildren();
  const places = Object.keys(fields).map((name) => /^readings\.(\d+)\./.exec(name)?.[1]);
  const count = Math.max(LEAST_ROWS, ...places.filter(Boolean).map((at) => Number(at) + 1));
  for (let at = 0; at < count; at++) addRow();
  for (const control of controls()) {
    const row = /^readings\.(\d+)\.role$/.exec(control.name)?.[1];
    const value = fields[control.name] ?? (row === undefined ? "" : known.roles[row] ?? "other");
    if (control.tagName === "SELECT" && ![...control.options].some((option) => option.value === value)) {
      control.add(new Option(value, value));
    }
    control.value = value;
  }
  const loaded = document.getElementById("loaded");
  if (loaded) loaded.value = "";
  showCells();
  clearFaults();
}

function addRow() {
  const at = Math.max(-1, ...[...rows.children].map((row) => Number(row.dataset.place))) + 1;
  const made = document.createElement("div");
  // The pattern is this page's own, and the place a whole number.
  made.innerHTML = document.getElementById("pattern").innerHTML.replaceAll("__ROW__", String(at));
  const row = made.firstElementChild;
  row.querySelector("legend").textContent = `Reading ${at + 1}`;
  row.querySelector(".without").setAttribute("aria-label", `Remove reading ${at + 1}`);
  row.querySelector('[name$=".role"]').value = known.roles[at] ?? "other";
  dress(row);
  rows.append(row);
  return row;
}

/* A phone's keyboard of figures has no minus; a button beside the field stands in for it. */
function dress(part) {
  for (const input of part.querySelectorAll("input[data-signed]")) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "plain";
    button.textContent = "±";
    const row = input.closest("fieldset")?.querySelector("legend").textContent;
    const label = input.closest("[data-field]").querySelector("label").textContent.trim();
    button.setAttribute("aria-label", `Plus or minus: ${row ? `${row}, ` : ""}${label}`);
    button.addEventListener("click", () => {
      input.value = /^\s*[-−]/.test(input.value) ? input.value.replace(/^\s*[-−]\s*/, "") : `-${input.value}`;
      input.focus();
      keep();
    });
    const beside = document.createElement("span");
    beside.className = "beside";
    input.before(beside);
    beside.append(input, button);
  }
}

/* Only the cells of the chosen lens are offered; of a lens with one cell that one is understood. */
function showCells() {
  const lens = controlOf("lens").value;
  for (const name of ["cell", "stop_scale"]) {
    const select = controlOf(name);
    for (const group of select.querySelectorAll("optgroup")) {
      group.hidden = group.disabled = Boolean(lens) && group.label !== lens;
    }
    const value = select.value;
    const same = [...select.options].find((option) => option.value === value && !option.parentElement.disabled);
    select.value = "";
    if (same) same.selected = true;
  }
}

/* ---- the record: the same names and the same writing as in a record file */

function record(fields) {
  const sheet = {};
  const readings = new Map();
  for (const [name, value] of Object.entries(fields)) {
    const text = value.trim();
    if (!text) continue;
    const steps = name.split(".");
    let inside = sheet;
    if (steps[0] === "readings") {
      steps.shift();
      const row = Number(steps.shift());
      if (!readings.has(row)) readings.set(row, {});
      inside = readings.get(row);
    }
    const last = steps.pop();
    for (const step of steps) inside = inside[step] ??= {};
    inside[last] = text;
  }
  const rowsInUse = [...readings].filter(([, one]) => Object.keys(one).some((key) => key !== "role" && key !== "placed"));
  if (rowsInUse.length) sheet.readings = rowsInUse.sort(([one], [other]) => one - other).map(([, one]) => one);
  return sheet;
}

function flat(value, name = "", fields = {}) {
  for (const [key, part] of Object.entries(value)) {
    const here = name ? `${name}.${key}` : key;
    if (typeof part === "object") flat(part, here, fields);
    else fields[here] = part;
  }
  return fields;
}

/* ---- checking */

const plain = (text) =>
  known.signs.reduce((so, [sign, word]) => so.replaceAll(sign, word), text).trim().split(/\s+/).join(" ");
const fits = (pattern, text) => new RegExp(`^(?:${pattern})$`, "iu").test(text);

/* Say what is wrong with a text, or nothing. */
function wrong(name, value) {
  const generic = name.replace(/^readings\.\d+\./, "readings.");
  const check = known.checks[generic] ?? {};
  const text = value.trim();
  if (!text) return check.required ? known.wanted[generic] ?? "This may not be blank." : "";
  if (check.longest && text.length > check.longest) return `At most ${check.longest} letters are kept; shorten it.`;
  if (check.notation) {
    const written = plain(text);
    if (written.length > known.longest || !fits(known.patterns[check.notation], written)) {
      return `“${text}” can’t be read: ${check.forms}.`;
    }
  } else if (check.pattern && !fits(check.pattern, text.split(/\s+/).join(" "))) {
    return `“${text}” can’t be read: ${check.forms}.`;
  }
  const figure = check.notation === "number" && /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain(text)) ? Number(plain(text)) : null;
  if (figure !== null && (figure < (check.low ?? -Infinity) || figure > (check.high ?? Infinity))) {
    return `${text} is outside ${check.low} … ${check.high}; check the figure.`.replaceAll("-", "−");
  }
  return "";
}

/* Faults of the whole record, field by field. */
function faultsOf(fields) {
  const faults = new Map();
  const add = (name, sentence) => faults.has(name) || faults.set(name, sentence);
  for (const [name, value] of Object.entries(fields)) {
    if (name.startsWith("readings.")) continue;
    const sentence = wrong(name, value);
    if (sentence) add(name, sentence);
  }
  const id = fields.sheet.trim().toLowerCase();
  const others = kept.sheets.filter((_, at) => at !== kept.changing).map((sheet) => sheet.sheet.toLowerCase());
  if (others.includes(id)) add("sheet", `${fields.sheet.trim()} is taken on this page already; give this one another id.`);
  if (taken.has(id)) add("sheet", `${fields.sheet.trim()} is in the archive already; give this one another id.`);
  const cells = known.cells[fields.lens] ?? [];
  if (cells.length > 1 && !fields.cell) add("cell", known.wanted.cell);
  for (const one of ["stop", "time"]) {
    const other = one === "stop" ? "time" : "stop";
    if (fields[`indicated.${one}`].trim() && !fields[`indicated.${other}`].trim()) {
      add(`indicated.${other}`, known.wanted[`indicated.${other}`]);
    }
  }
  checkReadings(fields, add);
  return faults;
}

function checkReadings(fields, add) {
  const used = [...rows.children]
    .map((row) => row.dataset.place)
    .filter((at) => ["name", "ev", "zone", "stops_from_placed"].some((key) => fields[`readings.${at}.${key}`].trim()));
  const of = (at, key) => fields[`readings.${at}.${key}`].trim();
  const names = new Set();
  for (const at of used) {
    for (const name of Object.keys(fields).filter((one) => one.startsWith(`readings.${at}.`))) {
      const sentence = wrong(name, fields[name]);
      if (sentence) add(name, sentence);
    }
    const name = of(at, "name").toLowerCase();
    if (name && names.has(name)) add(`readings.${at}.name`, `${of(at, "name")} stands there twice; give each its own name.`);
    names.add(name);
  }
  if (!used.length) return;
  const marked = used.filter((at) => of(at, "placed") === "yes");
  for (const at of marked.slice(1)) add(`readings.${at}.placed`, "Another reading is the placed one already; keep “yes” at one.");
  const placed = marked[0] ?? used.find((at) => of(at, "role") === "shadow" && of(at, "placed") !== "no");
  if (placed === undefined) {
    add(`readings.${used[0]}.role`, "No reading is the one the exposure was placed by: give one the role shadow.");
    return;
  }
  if (!of(placed, "zone")) add(`readings.${placed}.zone`, known.wanted["readings.zone"]);
  if (Number(plain(of(placed, "stops_from_placed") || "0"))) {
    add(`readings.${placed}.stops_from_placed`, "The placed reading can’t lie some stops from itself; write its EV.");
  }
}

function say(name, sentence) {
  const control = controlOf(name);
  const field = control.closest("[data-field]");
  const line = field.querySelector(".fault");
  line.textContent = sentence;
  line.hidden = !sentence;
  if (sentence) {
    control.setAttribute("aria-invalid", "true");
    field.closest("details")?.setAttribute("open", "");
  } else control.removeAttribute("aria-invalid");
}

function clearFaults() {
  for (const control of controls()) say(control.name, "");
}

/* ---- taking sheets */

const counted = (count, one, many) => (count === 1 ? `1 ${one}` : `${count} ${many}`);

function add() {
  const fields = typed();
  clearFaults();
  const faults = faultsOf(fields);
  for (const [name, sentence] of faults) say(name, sentence);
  if (faults.size) {
    const first = controls().find((control) => faults.has(control.name));
    first.focus();
    said.textContent = `Not added: ${counted(faults.size, "field wants", "fields want")} mending.`;
    return;
  }
  const sheet = record(fields);
  const changed = kept.changing;
  if (changed === null) kept.sheets.push(sheet);
  else kept.sheets[changed] = sheet;
  kept.changing = null;
  const before = kept.before;
  kept.before = null;
  fill(before ?? next(fields));
  show();
  keep();
  said.textContent = `${sheet.sheet} is ${changed === null ? "taken" : "changed"}; ${counted(kept.sheets.length, "sheet", "sheets")} here.`;
  document.getElementById("heading").scrollIntoView();
}

/* What the next sheet begins with: the outfit, the place, the tag, and an id counted on. */
function next(fields) {
  const begun = {};
  for (const name of known.carried) if (fields?.[name]) begun[name] = fields[name];
  begun.sheet = fields?.sheet ? counting(fields.sheet.trim()) : known.nextId;
  return begun;
}

function counting(id) {
  const parts = /^(.*?)(\d+)(\D*)$/s.exec(id);
  if (!parts) return "";
  const [, front, figures, end] = parts;
  const there = new Set([...taken, ...kept.sheets.map((sheet) => sheet.sheet.toLowerCase())]);
  for (let number = BigInt(figures) + 1n, tries = 0; tries < 20000; number++, tries++) {
    const proposed = front + String(number).padStart(figures.length, "0") + end;
    if (!there.has(proposed.toLowerCase())) return proposed;
  }
  return "";
}

function change(at) {
  if (kept.changing === null) kept.before = typed();
  kept.changing = at;
  fill(flat(kept.sheets[at]));
  show();
  keep();
  said.textContent = "";
  controlOf("sheet").focus();
}

function leave() {
  fill(kept.before ?? next(null));
  kept.changing = null;
  kept.before = null;
  show();
  keep();
}

function remove(at) {
  const [gone] = kept.sheets.splice(at, 1);
  if (kept.changing !== null) {
    if (kept.changing === at) {
      kept.changing = null;
      fill(kept.before ?? next(null));
      kept.before = null;
    } else if (kept.changing > at) kept.changing -= 1;
  }
  show();
  keep();
  said.textContent = `${gone.sheet} is removed.`;
  (document.querySelector("#list button") ?? controlOf("sheet")).focus();
}

/* ---- the list */

function button(words, label, does) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "plain";
  made.textContent = words;
  made.setAttribute("aria-label", label);
  made.addEventListener("click", () => does(made));
  return made;
}

/* A button that does it only when pressed again. */
function twice(words, sure, does) {
  return button(words, words, (made) => {
    const now = made.textContent === sure;
    made.textContent = now ? words : sure;
    made.setAttribute("aria-label", made.textContent);
    if (now) does();
  });
}

function show() {
  const list = document.getElementById("list");
  list.replaceChildren(...kept.sheets.map(line));
  document.getElementById("none").hidden = kept.sheets.length > 0;
  document.getElementById("keeping").hidden = kept.sheets.length === 0;
  document.getElementById("taken").textContent = kept.sheets.length ? `Taken: ${counted(kept.sheets.length, "sheet", "sheets")}` : "Taken";
  document.getElementById("text").value = file();
  const changing = kept.changing !== null;
  document.getElementById("heading").textContent = changing ? `${kept.sheets[kept.changing].sheet}, changed` : "New sheet";
  document.getElementById("add").textContent = changing ? "Keep the change" : "Add sheet";
  document.getElementById("cancel").hidden = !changing;
}

function line(sheet, at) {
  const item = document.createElement("li");
  const id = document.createElement("p");
  id.className = "id";
  id.textContent = sheet.sheet;
  const words = document.createElement("p");
  const cell = sheet.cell ? `, ${sheet.cell}` : "";
  const parts = [sheet.subject, sheet.place, `${sheet.film}, ${sheet.lens}${cell}`, `f/${sheet.stop.replace(/^f\/?/i, "")} at ${sheet.time}`, sheet.tag];
  words.textContent = parts.filter(Boolean).join(" · ");
  const metered = document.createElement("p");
  metered.className = "soft";
  metered.textContent = (sheet.readings ?? [])
    .map((one) => [one.name, one.ev && `EV ${one.ev}`, one.zone && `zone ${one.zone}`].filter(Boolean).join(" "))
    .join("; ");
  const does = document.createElement("div");
  does.className = "do";
  does.append(
    button("Change", `Change ${sheet.sheet}`, () => change(at)),
    twice(`Remove ${sheet.sheet}`, `Remove ${sheet.sheet} for good`, () => remove(at)),
  );
  item.append(id, words, metered, does);
  return item;
}

/* ---- the record file */

const file = () => `${JSON.stringify({ sheets: kept.sheets }, null, 2)}\n`;

function save() {
  const now = new Date();
  // Swedish writes date and time as ISO 8601 does.
  const name = `field-${now.toLocaleString("sv-SE").slice(0, 16).replace(" ", "-").replace(":", "")}.json`;
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([file()], { type: "application/json" }));
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  said.textContent = `${counted(kept.sheets.length, "sheet", "sheets")} saved as ${name}.`;
}

/* ---- what hands do */

form.addEventListener("submit", (event) => {
  event.preventDefault();
  add();
});

form.addEventListener("input", (event) => {
  if (!event.target.closest("[data-field]")) return;
  if (event.target.name === "lens") showCells();
  // The sheet is exposed when one begins to write of it.
  if (!controlOf("exposed_at").value && event.target.name !== "exposed_at" && kept.changing === null) setNow();
  keep();
});

// What is wrong with a field is said once one leaves it; what is blank only when the sheet is added.
form.addEventListener("change", (event) => {
  const { name, value } = event.target;
  if (name && event.target.closest("[data-field]")) say(name, value.trim() ? wrong(name, value) : "");
});

rows.addEventListener("click", (event) => {
  const button = event.target.closest(".without");
  if (!button) return;
  const row = button.closest(".reading");
  const beside = row.nextElementSibling ?? row.previousElementSibling;
  row.remove();
  (beside ?? addRow()).querySelector("input").focus();
  keep();
});

function setNow() {
  controlOf("exposed_at").value = new Date().toLocaleString("sv-SE").slice(0, 16);
}

document.getElementById("now").addEventListener("click", () => {
  setNow();
  say("exposed_at", "");
  keep();
});
document.getElementById("another").addEventListener("click", () => {
  addRow().querySelector("input").focus();
  keep();
});
document.getElementById("cancel").addEventListener("click", leave);
document.getElementById("save").addEventListener("click", save);
document.getElementById("loaded")?.addEventListener("change", (event) => {
  const side = known.loaded[event.target.value];
  if (!side) return;
  for (const name of ["holder", "side", "film", "format"]) if (side[name]) controlOf(name).value = side[name];
  keep();
});
document.getElementById("clear").replaceWith(
  twice("Remove all", "Remove all for good", () => {
    kept.sheets = [];
    leave();
    said.textContent = "All are removed.";
  }),
);

/* Another open page of this form keeps its sheets at the same place: those are listed here too, and what stands in this
   form stays. */
window.addEventListener("storage", (event) => {
  if (event.key !== place) return;
  const found = stored();
  if (!Array.isArray(found?.sheets)) return;
  kept = { ...found, fields: typed(), changing: null, before: null };
  show();
});

read();
dress(form);
fill(kept.fields ?? next(null));
show();
document.documentElement.dataset.ready = "yes";
