// "/" goes to the field that searches everything, from any page and wherever nothing is typed.
import { hasModifier } from "kitpost/lib/modifiers";
import { isSwitchedOff } from "kitpost/page/keys";

const TYPED_INTO =
  'textarea, select, [contenteditable], input:not([type="checkbox"], [type="radio"], [type="button"], [type="range"])';

document.addEventListener("keydown", (event) => {
  if (event.key !== "/" || event.defaultPrevented || isSwitchedOff()) return;
  if (hasModifier(event) || event.target.closest?.(TYPED_INTO)) return;
  const field = document.querySelector("[data-find]");
  if (!field) return;
  event.preventDefault();
  field.focus();
  field.select();
});
