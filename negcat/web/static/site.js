// Finds sheets by words. The list of sheets is a script, because a page opened from a disk may load no other file, and
// is loaded when somebody begins to ask.
"use strict";

(() => {
  const MOST = 200;
  const box = document.querySelector(".words");
  const [field, said, list] = ["words", "words-found", "words-sheets"].map((id) => document.getElementById(id));
  let sheets = null;

  function show() {
    const words = plain(field.value).split(/\s+/).filter(Boolean);
    list.replaceChildren();
    if (!words.length || !sheets) {
      said.textContent = "";
      return;
    }
    const found = sheets.filter((sheet) => words.every((word) => sheet.searched.includes(word)));
    const few = found.slice(0, MOST);
    const count = `${found.length.toLocaleString("en")} ${found.length === 1 ? "sheet fits" : "sheets fit"}`;
    said.textContent = found.length > MOST ? `${count}; the first ${MOST}:` : `${count}.`;
    list.append(...few.map(line));
  }

  function line(sheet) {
    const item = document.createElement("li");
    const link = document.createElement("a");
    link.href = sheet.address;
    link.textContent = sheet.name;
    const words = document.createElement("span");
    words.textContent = sheet.shown;
    item.append(link, words);
    return item;
  }

  function plain(text) {
    return text.normalize("NFKC").toLowerCase();
  }

  // The list calls this with a line for each sheet: address, id, words shown, further words.
  window.negcatSheets = (rows) => {
    sheets = rows.map(([address, name, shown, more]) => ({
      address, name, shown, searched: plain(`${name} ${shown} ${more}`),
    }));
    show();
  };

  function load() {
    if (load.begun) return;
    load.begun = true;
    const script = document.createElement("script");
    script.src = box.dataset.sheets;
    script.onerror = () => { said.textContent = "The list of sheets can’t be read."; };
    document.head.append(script);
  }

  box.hidden = false;
  field.addEventListener("focus", load);
  field.addEventListener("input", () => { load(); show(); });
  if (field.value) load();
})();
