// The log of takes on the page: the last one large, all of them in a table, and the word that goes with one.
const OVER = "This booking is over: its takes stay as they are.";
const number = (take) => `Take ${take.number}`;

export function takeText(take) {
  return [number(take), take.is_kept ? "kept" : "not kept", take.word && `“${take.word}”`].filter(Boolean).join(", ");
}

export class Logbook {
  /** `kit`: {takes, part, say}. */
  constructor(kit) {
    this.kit = kit;
    // As every page of the house writes a moment, in the reader's time zone, whatever this device has.
    const { time_zone: timeZone } = kit.song;
    const [day, time] = [
      { day: "numeric", month: "short", year: "numeric" },
      { hour: "2-digit", minute: "2-digit" },
    ];
    this.moment = new Intl.DateTimeFormat("en-GB", { ...day, ...time, timeZone });
    const form = kit.part("word-form");
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.takeWord();
    });
    kit.part("word").addEventListener("keydown", (event) => {
      if (event.key === "Escape") this.closeWord();
    });
  }

  /** `what` is to be done: log, keep, openWord or undo. */
  press(what) {
    if (this.kit.song.is_over) return this.kit.say(OVER);
    return this[what]();
  }

  async log() {
    const take = await this.kit.takes.log(this.kit.played);
    this.kit.say(`${number(take)} logged.`);
    this.kit.takes.send();
  }

  async keep() {
    const take = await this.kit.takes.toggleKept();
    this.kit.say(take ? `${takeText(take)}.` : "No take is logged yet.");
    this.kit.takes.send();
  }

  async undo() {
    const take = await this.kit.takes.undo();
    const what = take?.is_undone ? `${number(take)} is taken out.` : take && `Undone: ${takeText(take)}.`;
    this.kit.say(what ?? "Nothing to undo on this page.");
    this.kit.takes.send();
  }

  openWord() {
    const { last } = this.kit.takes;
    if (!last) return this.kit.say("No take is logged yet.");
    const field = this.kit.part("word");
    this.kit.part("word-form").hidden = false;
    this.kit.part("word-of").textContent = number(last);
    field.value = last.word;
    field.focus();
  }

  async takeWord() {
    const word = this.kit.part("word").value;
    this.closeWord(); // before it is kept: the next key is none of its letters
    const take = await this.kit.takes.setWord(word);
    if (take) this.kit.say(`${takeText(take)}.`);
    this.kit.takes.send();
  }

  closeWord() {
    this.kit.part("word-form").hidden = true;
    this.kit.part("word").blur();
  }

  show() {
    const { takes, part } = this.kit;
    const { standing, waiting } = takes;
    part("last").textContent = takes.last ? takeText(takes.last) : "No take yet";
    part("take-number").textContent = takes.nextNumber;
    part("takes").replaceChildren(...standing.map((take) => this.row(take)).reverse());
    const unsent = waiting.length;
    part("unsent").textContent = [
      this.kit.song.is_over ? OVER : "",
      takes.trouble,
      unsent
        ? `${unsent} take${unsent > 1 ? "s are" : " is"} still to be sent.`
        : standing.length
          ? "All takes are sent."
          : "",
      takes.isKept === false ? "This browser keeps no takes: do not close this page before they are sent." : "",
    ]
      .filter(Boolean)
      .join(" ");
  }

  row(take) {
    const cells = [
      take.number,
      take.is_kept ? "kept" : "not kept",
      take.word,
      playedWords(take),
      this.moment.format(new Date(take.logged_at)),
      take.is_sent ? "sent" : "still to be sent",
    ];
    const line = document.createElement("tr");
    for (const text of cells) line.append(Object.assign(document.createElement("td"), { textContent: text }));
    return line;
  }
}

/** "from B, 80 %"; nothing of a take that was written down without playing. */
function playedWords({ section = "", speed_percent: percent = 100 }) {
  return [section && `from ${section}`, percent !== 100 && `${percent} %`].filter(Boolean).join(", ");
}
