/* Join the buttons above one glass, or above several that are looked at together. */
export function joinBar(bar, ...glasses) {
  const [first] = glasses;
  const button = (does) => bar.querySelector(`button[data-does=${does}]`);
  const ways = [...bar.querySelectorAll("input[name=way]")];
  const drawn = glasses.some(({ scan }) => scan.tables);
  for (const input of ways) {
    input.addEventListener("change", () => glasses.forEach((glass) => glass.see(input.value)));
    input.disabled = input.value !== "scanned" && !drawn;
  }
  const showWay = (way) => ways.forEach((input) => (input.checked = input.value === way));
  const showMarks = (on) => button("marks").setAttribute("aria-pressed", String(on));
  first.on("way", showWay).on("marks", showMarks);
  showWay(first.way);
  showMarks(first.marksShown);
  button("closer").addEventListener("click", () => first.zoom(1));
  button("farther").addEventListener("click", () => first.zoom(-1));
  button("whole").addEventListener("click", () => first.whole());
  button("marks").addEventListener("click", () => {
    const on = !first.marksShown;
    for (const glass of glasses) glass.showMarks(on);
  });
}
