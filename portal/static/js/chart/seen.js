// What the house says of a chart that is being edited: what does not add up, or that all does.

/** `seen`: {problems: [{sentence}], meters: [sentence], length: {agrees, sentence} or null, fine}. */
export function showSeen(element, { problems, meters, length, fine }) {
  const said = [...problems.map(({ sentence }) => sentence), ...meters];
  if (length && !length.agrees) said.unshift(length.sentence);
  const list = element.querySelector("[data-chart-problems]");
  list.replaceChildren(...said.map((text) => Object.assign(document.createElement("li"), { textContent: text })));
  const fineLine = element.querySelector("[data-chart-fine]");
  fineLine.textContent = fine;
  fineLine.hidden = said.length > 0;
  const link = element.querySelector("[data-chart-faults]");
  link.textContent = said.length > 1 ? `${said.length} things do not add up` : (said[0] ?? "");
  link.hidden = !said.length;
}
