// The anchors of a map as rows to type into. Rows are made again only when anchors come, go or change their kind, and
// the focus stays where it was.
const WORDS = {
  time: "Time, s",
  meter: "Meter",
  bpm: "Tempo, bpm",
  ramps: "Ramp",
  free: "Free",
  late: "Playing",
  spread: "Spread",
};

export class AnchorTable {
  constructor(body, { onChange, onChoose }) {
    this.body = body;
    this.kept = "";
    body.addEventListener("change", ({ target }) =>
      onChange(Number(target.closest("tr").dataset.at), target.dataset.of, valueOf(target)),
    );
    body.addEventListener("focusin", ({ target }) => onChoose(Number(target.closest("tr")?.dataset.at)));
  }

  /** `fresh`: what was typed and not taken goes back to what holds. */
  show({ anchors, stretches, chosen, fresh = false }) {
    const kind = JSON.stringify(anchors.map(({ bar }) => bar));
    if (kind !== this.kept) this.build(anchors);
    this.kept = kind;
    for (const [at, anchor] of anchors.entries())
      this.fill(this.body.rows[at], anchor, stretches[at], at === anchors.length - 1 || !at, fresh);
    this.choose(chosen);
  }

  choose(chosen) {
    for (const row of this.body.rows) row.toggleAttribute("data-chosen", Number(row.dataset.at) === chosen);
  }

  build(anchors) {
    const focused = this.body.contains(document.activeElement) ? document.activeElement : null;
    const [bar, of] = [focused?.closest("tr").dataset.bar, focused?.dataset.of];
    this.body.replaceChildren(...anchors.map((anchor, at) => rowOf(anchor, at, at === anchors.length - 1)));
    const again = focused && this.body.querySelector(`tr[data-bar="${bar}"] [data-of="${of}"]`);
    again?.focus();
  }

  fill(row, anchor, stretch, cannotRamp, fresh) {
    const tempo = tempoText(stretch);
    const values = { time: anchor.time_s.toFixed(6), meter: anchor.meter, bpm: tempo };
    for (const [of, value] of Object.entries(values)) {
      const field = row.querySelector(`input[data-of="${of}"]`);
      if (field && (fresh || field !== document.activeElement)) field.value = value;
    }
    fillFigures(row, anchor, stretch, tempo);
    row.querySelector('[data-of="ramps"]').checked = Boolean(anchor.ramps);
    row.querySelector('[data-of="ramps"]').hidden = cannotRamp || Boolean(anchor.free);
    row.querySelector('[data-of="free"]').checked = Boolean(anchor.free);
  }
}

function tempoText(stretch) {
  return stretch ? String(Math.round(stretch.bpm * 1000) / 1000) : "";
}

/** The note that the tempo counts; the server says it wherever that is not the quarter. */
function beatText(stretch) {
  return stretch?.beat ? `(${stretch.beat})` : "";
}

function fillFigures(row, anchor, stretch, tempo) {
  const figures = {
    bpm: [tempo, beatText(stretch)].filter(Boolean).join(" "),
    beat: beatText(stretch),
    late: anchor.free ? "free" : signed(stretch?.late_ms),
    spread: stretch?.spread_ms == null ? "–" : `${stretch.spread_ms} ms`,
  };
  for (const cell of row.querySelectorAll("[data-figure]")) cell.textContent = figures[cell.dataset.figure];
}

export function signed(lateMs) {
  if (lateMs === null || lateMs === undefined) return "–";
  if (lateMs === 0) return "on time";
  return lateMs > 0 ? `${lateMs} ms late` : `${-lateMs} ms early`;
}

function valueOf(field) {
  return field.type === "checkbox" ? field.checked : field.value.trim().replace(",", ".");
}

function rowOf(anchor, at, isLast) {
  const row = document.createElement("tr");
  Object.assign(row.dataset, { at, bar: anchor.bar });
  const head = Object.assign(document.createElement("th"), { scope: "row", textContent: `Bar ${anchor.bar}` });
  row.append(
    head,
    typed("time", `Time of bar ${anchor.bar}, in seconds`),
    typed("meter", `Meter from bar ${anchor.bar}`),
  );
  row.append(isLast ? typedTempo(anchor) : figure("bpm"));
  row.append(
    ticked("ramps", `From bar ${anchor.bar} ramp to the next anchor`),
    ticked("free", `Free passage from bar ${anchor.bar}`),
  );
  row.append(figure("late"), figure("spread"));
  return row;
}

function typed(of, label) {
  return holding({ type: "text", className: "short", inputMode: of === "meter" ? "text" : "decimal" }, of, label);
}

function typedTempo(anchor) {
  const cell = typed("bpm", `Tempo from bar ${anchor.bar}`);
  const beat = Object.assign(document.createElement("span"), { className: "small" });
  beat.dataset.figure = "beat";
  cell.append(" ", beat);
  return cell;
}

function ticked(of, label) {
  return holding({ type: "checkbox" }, of, label);
}

function holding(properties, of, label) {
  const cell = cellOf(of);
  const input = Object.assign(document.createElement("input"), properties);
  input.dataset.of = of;
  input.setAttribute("aria-label", label);
  cell.append(input);
  return cell;
}

function figure(of) {
  const cell = cellOf(of);
  cell.className = "num";
  cell.dataset.figure = of;
  return cell;
}

/** On a narrow page rows are cards, and each cell says what it is. */
function cellOf(of) {
  const cell = document.createElement("td");
  cell.dataset.label = WORDS[of];
  return cell;
}
