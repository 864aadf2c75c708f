/* The form for a sheet's record: rows of readings, the ledger while one types, saving without leaving the page.
   What is written is read, checked and calculated by the archive; nothing of that is done here. */

import { Kept } from "./form_kept.js";

const form = document.getElementById("record-form");
const { ledger, token, editing, again, keepsAs } = form.dataset;
const summary = document.getElementById("summary");
const said = document.getElementById("said");
const rows = document.getElementById("reading-rows");
const pattern = document.getElementById("reading-pattern");
const saveButton = form.querySelector(".save");

const WAIT_MS = 350;
const PATIENCE_MS = 30000;
const NO_CONNECTION =
  "Not saved: the archive can’t be reached. Everything you typed is kept in this browser; save again once the connection is back.";

const kept = new Kept(`negcat ${keepsAs} ${editing ? `sheet ${editing}` : `new ${again}`}`);
let attempted = false; // from then on fields that are blank are named too
let saving = false;
let unreachable = false;

/* ---- fields */

const fieldOf = (name) => form.querySelector(`[data-field="${CSS.escape(name)}"]`);
const controlOf = (field) => field.querySelector("input, select, textarea");
const isControl = (element) => element.matches?.("[data-field] input, [data-field] select, [data-field] textarea");

function typed() {
  const fields = {};
  for (const control of form.querySelectorAll("[data-field] input, [data-field] select, [data-field] textarea")) {
    fields[control.name] = control.value;
  }
  return fields;
}

function fill(fields) {
  for (const name of Object.keys(fields)) {
    const place = /^readings\.(\d+)\./.exec(name)?.[1];
    if (place !== undefined && !rows.querySelector(`[data-place="${place}"]`)) addRow(place);
  }
  for (const control of form.querySelectorAll("[data-field] input, [data-field] select, [data-field] textarea")) {
    const value = fields[control.name] ?? "";
    if (control.tagName === "SELECT" && ![...control.options].some((option) => option.value === value)) {
      control.add(new Option(value, value));
    }
    control.value = value;
  }
  showCells();
  showHolds();
}

const state = () => form.elements["-state"];

/* ---- rows of readings */

function addRow(place) {
  const places = [...rows.children].map((row) => Number(row.dataset.place));
  const at = place ?? String(Math.max(-1, ...places) + 1);
  const made = document.createElement("div");
  // The pattern is the archive's own, and the place a whole number.
  made.innerHTML = pattern.innerHTML.replaceAll("__ROW__", at).replaceAll("__NUMBER__", String(Number(at) + 1));
  const row = made.firstElementChild;
  dress(row);
  rows.append(row);
  return row;
}

function removeRow(place) {
  const row = rows.querySelector(`[data-place="${place}"]`);
  const next = row.nextElementSibling ?? row.previousElementSibling;
  row.remove();
  (next ?? addRow()).querySelector("input").focus();
  changed();
}

/* A phone's keyboard of figures has no minus; a button beside the field stands in for it. */
function dress(inside) {
  for (const input of inside.querySelectorAll("input[data-signed]")) {
    input.inputMode = "decimal";
    const beside = document.createElement("span");
    beside.className = "beside";
    input.before(beside);
    const button = document.createElement("button");
    button.type = "button";
    button.className = "plain-button";
    button.textContent = "±";
    const legend = input.closest("fieldset")?.querySelector("legend").textContent;
    const label = input.closest("[data-field]").querySelector("label").textContent.trim();
    button.setAttribute("aria-label", `Plus or minus: ${legend ? `${legend}, ` : ""}${label}`);
    button.addEventListener("click", () => {
      input.value = /^\s*[-−]/.test(input.value) ? input.value.replace(/^\s*[-−]\s*/, "") : `-${input.value}`;
      input.focus();
      changed();
    });
    beside.append(input, button);
  }
}

/* Only the cells of the chosen lens are offered. */
function showCells() {
  const lens = form.elements.lens.value;
  for (const name of ["cell", "stop_scale"]) {
    const select = form.elements[name];
    const value = select.value;
    for (const group of select.querySelectorAll("optgroup")) {
      group.hidden = group.disabled = Boolean(lens) && group.label !== lens;
    }
    const open = [...select.options].filter((option) => !option.parentElement.disabled);
    const same = open.find((option) => option.value === value && option.parentElement !== select);
    select.value = "";
    if (same) same.selected = true;
    else if (value && ![...select.querySelectorAll("optgroup option")].some((option) => option.value === value)) {
      select.value = value; // a cell no lens has: it is said as a fault
    }
  }
}

/* What a shut group holds is said on the line that opens it. */
function showHolds() {
  for (const group of form.querySelectorAll("details")) {
    const values = [...group.querySelectorAll("[data-field] input, [data-field] select, [data-field] textarea")]
      .map((control) => control.value.trim().slice(0, 40))
      .filter(Boolean);
    const said = group.closest(".reading") && values.length ? "filled in" : values.join(", ");
    group.querySelector(".holds").textContent = said;
  }
}

/* ---- faults */

function say(field, sentence) {
  const line = field.querySelector(".field-fault");
  const control = controlOf(field);
  line.textContent = sentence;
  line.hidden = !sentence;
  const describing = [sentence && line.id, field.querySelector(".help")?.id].filter(Boolean).join(" ");
  if (describing) control.setAttribute("aria-describedby", describing);
  else control.removeAttribute("aria-describedby");
  if (sentence) control.setAttribute("aria-invalid", "true");
  else control.removeAttribute("aria-invalid");
}

function showFaults(faults) {
  const sentences = new Map();
  for (const fault of faults) {
    // While nothing has been saved yet, a blank field is no fault: it is still to come.
    if (fault.blank && !attempted) continue;
    const name = fault.name === "readings" ? controlOf(rows)?.name : fault.name;
    sentences.set(name, [sentences.get(name), fault.sentence].filter(Boolean).join(" "));
  }
  for (const field of form.querySelectorAll("[data-field]")) {
    const control = controlOf(field);
    const sentence = sentences.get(field.dataset.field) ?? "";
    // Half a word is not held against whoever is still writing it.
    if (sentence && control === document.activeElement && !attempted && control.tagName !== "SELECT") continue;
    say(field, sentence);
    if (sentence && attempted) for (let d = field.closest("details"); d; d = d.parentElement.closest("details")) d.open = true;
  }
}

function showSummary(html) {
  summary.innerHTML = html; // the archive's own, every text in it escaped
  summary.hidden = !html;
  if (html) summary.focus();
}

summary.addEventListener("click", (event) => {
  const target = document.getElementById(event.target.closest("a")?.hash.slice(1));
  if (!target) return;
  event.preventDefault();
  for (let d = target.closest("details"); d; d = d.parentElement.closest("details")) d.open = true;
  target.focus();
  target.scrollIntoView({ block: "center" });
});

/* ---- asking the archive */

async function send(address, more = {}, signal = undefined) {
  const answer = await fetch(address, {
    method: "POST",
    headers: { "content-type": "application/json", accept: "application/json", "x-csrftoken": token },
    body: JSON.stringify({ fields: typed(), editing, state: state().value, ...more }),
    credentials: "same-origin",
    signal,
  });
  let found;
  try {
    found = await answer.json();
  } catch {
    found = { ok: false, error: `The archive gave an answer that can’t be read (${answer.status}).` };
  }
  return found;
}

let waiting;
let asking;

async function calculate() {
  asking?.abort();
  const mine = (asking = new AbortController());
  let found;
  try {
    found = await send(ledger, {}, mine.signal);
  } catch {
    if (!mine.signal.aborted) reach(false);
    return;
  }
  if (mine.signal.aborted) return;
  reach(true);
  if (!found.ok) {
    said.textContent = found.error;
    return;
  }
  document.getElementById("calculation").innerHTML = found.html; // the archive's own, every text in it escaped
  const decision = document.getElementById("bar-decision");
  if (decision.textContent !== found.decision) decision.textContent = found.decision;
  showFaults(found.faults);
}

function reach(reached) {
  form.querySelector(".out-of-reach").hidden = reached;
  if (reached && unreachable && said.textContent === NO_CONNECTION) {
    said.textContent = "The archive can be reached again: save now.";
  }
  unreachable = !reached;
}

function soon() {
  clearTimeout(waiting);
  waiting = setTimeout(calculate, WAIT_MS);
}

function changed() {
  if (!kept.keep(typed(), state().value)) said.textContent = "This browser keeps nothing of what is typed: save before you leave the page.";
  showHolds();
  soon();
}

/* ---- saving */

async function save() {
  if (saving || !saveButton) return;
  saving = true;
  attempted = true;
  clearTimeout(waiting);
  asking?.abort();
  saveButton.setAttribute("aria-disabled", "true");
  said.textContent = "";
  kept.keep(typed(), state().value);
  try {
    const found = await send(form.getAttribute("action"), {}, AbortSignal.timeout(PATIENCE_MS));
    if (found.ok) {
      kept.drop();
      location.assign(found.address);
      return;
    }
    if (found.fields) {
      // Changed meanwhile: laid out anew, with what was typed in it.
      state().value = found.state;
      fill(found.fields);
      kept.keep(typed(), found.state);
    }
    if (found.faults) showFaults(found.faults);
    if (found.html) showSummary(found.html);
    else said.textContent = `Not saved: ${found.error} Everything you typed is kept in this browser.`;
  } catch {
    unreachable = true;
    said.textContent = NO_CONNECTION;
  } finally {
    saving = false;
    saveButton.removeAttribute("aria-disabled");
  }
}

/* ---- what hands do */

form.addEventListener("submit", (event) => {
  event.preventDefault();
  const [does, which] = (event.submitter?.name === "-do" ? event.submitter.value : "save").split(" ");
  if (does === "save") save();
  else if (does === "another") {
    addRow().querySelector("input").focus();
    changed();
  } else if (does === "without") removeRow(which);
  else calculate();
});

form.addEventListener("input", (event) => {
  if (!isControl(event.target)) return;
  if (event.target.name === "lens") showCells();
  changed();
});

// What was wrong with a field is said once one leaves it.
form.addEventListener("change", (event) => {
  if (isControl(event.target)) soon();
});

window.addEventListener("online", calculate);

/* ---- what was typed before */

function offer(drafts, restored) {
  const box = document.getElementById("kept");
  const line = (text, ...buttons) => {
    const paragraph = document.createElement("p");
    paragraph.append(text);
    for (const [words, does] of buttons) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "plain-button";
      button.textContent = words;
      button.addEventListener("click", does);
      paragraph.append(button);
    }
    box.append(paragraph);
  };
  const at = (draft) => new Date(draft.at).toLocaleString("en-GB", { dateStyle: "medium", timeStyle: "short" });
  box.replaceChildren();
  if (restored) {
    line(`What you typed here on ${at(restored)} and did not save is back.`, [
      "Drop it",
      () => {
        kept.drop();
        location.reload();
      },
    ]);
  }
  for (const draft of drafts) {
    line(
      `Also kept, not saved: ${editing || draft.fields.sheet || "a sheet"}, typed on ${at(draft)}.`,
      [
        "Take it up",
        () => {
          kept.adopt(draft);
          location.reload();
        },
      ],
      [
        "Drop it",
        () => {
          kept.forget(draft);
          offer(drafts.filter((other) => other !== draft), restored);
        },
      ],
    );
  }
  box.hidden = !box.childElementCount;
}

async function begin() {
  form.classList.add("scripted");
  dress(form);
  showCells();
  const now = document.createElement("button");
  now.type = "button";
  now.className = "plain-button";
  now.textContent = "Now";
  now.setAttribute("aria-label", "Now: put in date and time");
  now.addEventListener("click", () => {
    // Swedish writes date and time as ISO 8601 does.
    form.elements.exposed_at.value = new Date().toLocaleString("sv-SE").slice(0, 16);
    changed();
  });
  const beside = document.createElement("span");
  beside.className = "beside";
  form.elements.exposed_at.before(beside);
  beside.append(form.elements.exposed_at, now);

  const { own, others } = await kept.open(!again);
  if (own) {
    fill(own.fields);
    said.textContent = "What you typed before and did not save is back.";
    if (own.state) state().value = own.state;
    calculate();
  }
  offer(others, own);
  form.dataset.ready = "yes";
}

begin();
