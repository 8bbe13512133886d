// The names of the lanes beside their picture, and what is heard of them: out, alone, level.
import { LANE_PX } from "kitpost/lanes/drawing";
import { levelOfGain, listenToLevel } from "kitpost/lib/level";
import { RULER_PX } from "kitpost/lib/ruler";

/** What tells the names apart: without the words that all begin with, and without the ending that all have. */
export function shortNames(names) {
  if (names.length < 2) return names;
  const words = names.map((name) => name.split(/(?<=[\s_-])/));
  let same = 0;
  while (words.every((own) => own.length > same + 1 && own[same] === words[0][same])) same++;
  const ending = /\.\w{1,5}$/.exec(names[0])?.[0] ?? "";
  const cut = names.every((name) => name.endsWith(ending)) ? ending.length : 0;
  const short = words.map((own) => own.slice(same).join("")).map((name) => name.slice(0, name.length - cut));
  return short.every(Boolean) ? short : names;
}

export class LaneList {
  /** `onGains` is called with one gain a lane, now and at every change. */
  constructor(list, lanes, onGains) {
    this.onGains = onGains;
    this.mix = lanes.map((lane) => ({ level: 1, out: Boolean(lane.is_click), alone: false }));
    this.list = list;
    list.style.paddingTop = `${RULER_PX}px`;
    const names = shortNames(lanes.map((lane) => lane.name));
    list.append(...lanes.map((lane, at) => this.row(lane, names[at], this.mix[at])));
    this.apply();
  }

  row(lane, shortName, mine) {
    const row = document.createElement("li");
    row.style.height = `${LANE_PX}px`;
    row.dataset.lane = lane.id;
    const level = make("input", { type: "range", min: 0, max: 1.5, step: 0.05, value: 1 });
    level.setAttribute("aria-label", `Level of ${lane.name}`);
    listenToLevel(level, levelOfGain, (gain) => {
      mine.level = gain;
      this.apply();
    });
    const name = make("button", { type: "button", className: "plain name", textContent: shortName, title: lane.name });
    name.addEventListener("click", () => {
      this.choose(lane.id);
      document.dispatchEvent(new CustomEvent("lanes:chosen", { detail: { id: lane.id } }));
    });
    row.append(
      name,
      this.switch(mine, "out", "Mute", `Mute ${lane.name}`),
      this.switch(mine, "alone", "Solo", `Solo ${lane.name}`),
      level,
    );
    return row;
  }

  /** Mark one lane, for instance the file that a finding is about. */
  choose(id) {
    for (const row of this.list.children) {
      if (row.dataset.lane === String(id)) row.setAttribute("aria-current", "true");
      else row.removeAttribute("aria-current");
    }
    this.list.querySelector("[aria-current]")?.scrollIntoView({ block: "nearest" });
  }

  switch(mine, what, text, label) {
    const button = make("button", { type: "button", className: "small", textContent: text });
    button.setAttribute("aria-label", label);
    button.setAttribute("aria-pressed", String(mine[what]));
    button.addEventListener("click", () => {
      mine[what] = !mine[what];
      button.setAttribute("aria-pressed", String(mine[what]));
      this.apply();
    });
    return button;
  }

  apply() {
    const someAlone = this.mix.some((lane) => lane.alone);
    this.onGains(this.mix.map((lane) => ((someAlone ? lane.alone : !lane.out) ? lane.level : 0)));
  }
}

function make(tag, properties) {
  return Object.assign(document.createElement(tag), properties);
}
