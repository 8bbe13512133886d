// Findings beside the lanes: choosing one moves the lanes there, and where the lanes stand is marked in the list.
//
//   <div data-findings> <li data-finding="7" data-source="3"> <button data-go-s="12.5"> or <button data-go-lane="3">
//
// The lanes listen for `lanes:go` (a moment) and `lanes:lane` (a file); they tell `lanes:view` (their head, in s) and
// `lanes:chosen` (a file whose name was pressed).
import { attach } from "kitpost/lib/attach";

// A head within this of a finding's moment stands on it: a fiftieth of a second is below what a hand can aim at.
const SAME_S = 0.02;

attach("[data-findings]", (element) => {
  const rows = () => [...element.querySelectorAll("[data-finding]")];

  const mark = (chosen) => {
    for (const row of rows()) {
      if (row === chosen) row.setAttribute("aria-current", "true");
      else row.removeAttribute("aria-current");
    }
    chosen?.scrollIntoView({ block: "nearest" });
  };
  const press = (event) => {
    const row = event.target.closest?.("[data-finding] button[data-go-s], [data-finding] button[data-go-lane]");
    if (!row) return;
    mark(row.closest("[data-finding]"));
    const { goLane } = row.dataset;
    if (goLane) document.dispatchEvent(new CustomEvent("lanes:lane", { detail: { id: Number(goLane) } }));
  };
  const follow = ({ detail }) => {
    const here = rows().find((row) => {
      const { goS } = row.querySelector("[data-go-s]")?.dataset ?? {};
      return goS !== undefined && Math.abs(Number(goS) - detail.headS) < SAME_S;
    });
    if (here) mark(here);
  };
  const choose = ({ detail }) => mark(rows().find((row) => row.dataset.source === String(detail.id)));

  element.addEventListener("click", press);
  document.addEventListener("lanes:view", follow);
  document.addEventListener("lanes:chosen", choose);
  return () => {
    element.removeEventListener("click", press);
    document.removeEventListener("lanes:view", follow);
    document.removeEventListener("lanes:chosen", choose);
  };
});
