// The headphone balance on the page: a slider for everything, the click, the music, each group and each file; what is
// switched; and where each goes.
import { CEILINGS_DB, groupsOf, hasGuideDrums, MOST_DB, OFF_DB } from "kitpost/kit/levels";
import { levelText, listenToLevel, sayLevel, START_LEVEL_DB } from "kitpost/lib/level";

const GROUPS = { drums: "All drums", bass: "All basses", guitars: "All guitars", keys: "All keys", mix: "All mixes" };
const TWO_OUTPUTS = "This sound device has two outputs: click, music and files share them.";
const CLICK_STEP_DB = 3;
const asItIs = (db) => db;

export class Sliders {
  /** `kit`: {song, balance, outputs, part, say, rebuild}. */
  constructor(kit) {
    this.kit = kit;
    this.sliders = new Map();
    const { balance } = kit;
    const { levels } = balance;
    const rows = [
      this.row("total", "Everything", START_LEVEL_DB, 0, (db) => balance.setTotal(db)),
      this.row("click", "Click", levels.click, MOST_DB, (click) => balance.change({ click })),
      this.row("music", "Music", levels.music, 0, (music) => balance.change({ music })),
      ...groupsOf(kit.song.lanes).map((role) => this.groupRow(role)),
      ...kit.song.lanes.map((lane) => this.laneRow(lane)),
    ];
    kit.part("sliders").replaceChildren(...rows);
    this.listen();
    this.show();
  }

  groupRow(role) {
    const { balance } = this.kit;
    const set = (db) => balance.change({ groups: { ...balance.levels.groups, [role]: db } });
    const name = GROUPS[role] ?? `All ${role}`;
    return this.row(`group:${role}`, name, balance.levels.groups[role] ?? 0, 0, set);
  }

  laneRow({ id, name, trouble }) {
    const { balance } = this.kit;
    const set = (db) => balance.change({ lanes: { ...balance.levels.lanes, [id]: db } });
    const row = this.row(`lane:${id}`, name, balance.levels.lanes[id] ?? 0, MOST_DB, set);
    if (trouble) row.append(make("small", { textContent: trouble }));
    return row;
  }

  row(key, name, db, mostDb, set) {
    const slider = make("input", { type: "range", min: OFF_DB, max: mostDb, step: 1, value: db });
    const level = make("output", { textContent: levelText(db) });
    listenToLevel(slider, asItIs, (value) => {
      level.textContent = levelText(value);
      set(value);
    });
    const label = make("label", { className: "kit-slider" });
    label.append(make("span", { textContent: name }), slider, level);
    this.sliders.set(key, { slider, level });
    return label;
  }

  listen() {
    const { part, balance, rebuild } = this.kit;
    const ceiling = part("ceiling");
    ceiling.append(...CEILINGS_DB.map((db) => new Option(`−${-db} dBFS`, db)));
    ceiling.addEventListener("change", () => rebuild(() => balance.setCeiling(Number(ceiling.value))));
    part("mono").addEventListener("change", (event) => rebuild(() => balance.change({ mono: event.target.checked })));
    part("drumless").addEventListener("change", (event) => balance.change({ without_drums: event.target.checked }));
    part("drumless").closest("label").hidden = !hasGuideDrums(this.kit.song.lanes);
    part("find-devices").addEventListener("click", () => this.listDevices());
    part("device").addEventListener("change", (event) => this.route({ device: event.target.value }));
  }

  /** The click, louder or softer by a step; the sliders follow. */
  stepClick(by) {
    const { balance, say } = this.kit;
    const click = Math.min(MOST_DB, Math.max(OFF_DB, balance.levels.click + by * CLICK_STEP_DB));
    balance.change({ click });
    this.set("click", click);
    say(`Click ${levelText(click)}.`);
  }

  set(key, db) {
    const { slider, level } = this.sliders.get(key) ?? {};
    if (!slider) return;
    slider.value = db;
    sayLevel(slider, db);
    level.textContent = levelText(db);
  }

  /** As the balance is now, after another was taken. */
  show() {
    const { levels } = this.kit.balance;
    this.set("click", levels.click);
    this.set("music", levels.music);
    for (const [role, db] of Object.entries(levels.groups)) this.set(`group:${role}`, db);
    for (const [id, db] of Object.entries(levels.lanes)) this.set(`lane:${id}`, db);
    this.kit.part("mono").checked = levels.mono;
    this.kit.part("drumless").checked = levels.without_drums;
    this.showRoutes();
  }

  /** How far the ceiling holds everything back. */
  showHeld(heldDb) {
    this.kit.part("held").textContent =
      heldDb > 0.05 ? `At the ceiling: everything is held back by ${heldDb.toFixed(1)} dB.` : "";
  }

  async listDevices() {
    const found = await this.kit.outputs.devices();
    if (typeof found === "string") return this.tellOutputs(found);
    const list = this.kit.part("device");
    list.replaceChildren(new Option("the system’s own", ""), ...found.map(({ id, name }) => new Option(name, id)));
    list.value = this.kit.outputs.chosen.device;
  }

  route(change) {
    const { outputs, rebuild } = this.kit;
    rebuild(() => {
      Object.assign(outputs.chosen, change);
      outputs.keep();
    });
  }

  tellOutputs(text) {
    this.kit.part("outputs-said").textContent = text;
  }

  /** Where click, music and each file go, as far as the device has outputs to choose from. */
  showRoutes() {
    const { outputs, song, part, transport } = this.kit;
    const { chosen, count } = outputs;
    if (count < 2) return part("routes").replaceChildren(...(transport.context ? [TWO_OUTPUTS] : []));
    const setLane = (id) => (pair) => {
      const others = Object.entries(chosen.lanes).filter(([one]) => one !== String(id));
      this.route({ lanes: Object.fromEntries(pair === null ? others : [...others, [id, pair]]) });
    };
    part("routes").replaceChildren(
      this.routeRow("Click", chosen.click, (click) => this.route({ click })),
      this.routeRow("Music", chosen.music, (music) => this.route({ music })),
      ...song.lanes.map((lane) => this.routeRow(lane.name, chosen.lanes[lane.id] ?? null, setLane(lane.id), true)),
    );
  }

  routeRow(name, pair, set, hasOwn = false) {
    const list = make("select", {});
    if (hasOwn) list.append(new Option("with the music", ""));
    const { count } = this.kit.outputs;
    for (let at = 0; at < count; at++) list.append(new Option(`outputs ${2 * at + 1} and ${2 * at + 2}`, at));
    list.value = pair ?? "";
    list.addEventListener("change", () => set(list.value === "" ? null : Number(list.value)));
    const label = make("label", { className: "kit-route" });
    label.append(make("span", { textContent: name }), list);
    return label;
  }
}

function make(tag, properties) {
  return Object.assign(document.createElement(tag), properties);
}
