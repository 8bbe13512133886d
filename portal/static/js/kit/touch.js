// No accidental touch: while the page is locked, a finger must rest on a button before it counts. Keys, mice and screen
// readers press at once.
const HOLD_MS = 300;
const HINT_MS = 2000;
const HINT = "Hold the button a moment.";
const KEPT = "kitpost-kit-touch";

export class TouchLock {
  constructor(element, say) {
    this.say = say;
    this.isOn = localStorage.getItem(KEPT) !== "off";
    element.addEventListener("pointerdown", (event) => this.down(event));
    for (const name of ["pointerup", "pointercancel"]) element.addEventListener(name, () => this.up());
    element.addEventListener("click", (event) => this.click(event), true);
    element.addEventListener("contextmenu", (event) => this.isOn && event.preventDefault());
  }

  toggle() {
    this.isOn = !this.isOn;
    localStorage.setItem(KEPT, this.isOn ? "on" : "off");
    this.say(this.isOn ? "Touch is locked: hold a button to press it." : "Touch is unlocked: a tap presses.");
  }

  down(event) {
    const button = event.target.closest("button");
    if (!this.isOn || event.pointerType !== "touch" || !button) return;
    button.setAttribute("data-held", "");
    this.held = button;
    this.timer = setTimeout(() => {
      this.up();
      this.pressed = button;
      button.click();
    }, HOLD_MS);
  }

  up() {
    clearTimeout(this.timer);
    this.held?.removeAttribute("data-held");
    this.held = null;
  }

  /** Where the finger is: the line that says it may be out of sight. */
  hint(button) {
    this.say(HINT);
    document.querySelector(".kit-hint")?.remove();
    const words = Object.assign(document.createElement("p"), { className: "kit-hint", textContent: HINT });
    words.setAttribute("aria-hidden", "true");
    const { top, bottom } = button.getBoundingClientRect();
    if (top > innerHeight / 2) words.style.bottom = `${innerHeight - top + 8}px`;
    else words.style.top = `${bottom + 8}px`;
    button.closest("[data-kit]").append(words);
    setTimeout(() => words.remove(), HINT_MS);
  }

  /** The tap itself presses nothing: a hold has done so already. */
  click(event) {
    if (!this.isOn || event.pointerType !== "touch" || !event.target.closest("button")) return;
    event.preventDefault();
    event.stopPropagation();
    if (this.pressed !== event.target.closest("button")) this.hint(event.target.closest("button"));
    this.pressed = null;
  }
}
