// What is half written in a long field is still there after a reload, in this tab alone, until it is sent and taken.
import { attach } from "kitpost/lib/attach";

const MARK = "kitpost-draft:";
const SENT = `${MARK}sent:`;

attach("form textarea[name]", (field) => {
  const key = `${MARK}${location.pathname}:${field.form.getAttribute("action") ?? ""}:${field.name}`;
  const keep = () =>
    field.value === field.defaultValue ? sessionStorage.removeItem(key) : sessionStorage.setItem(key, field.value);
  const send = () => {
    sessionStorage.removeItem(key);
    sessionStorage.setItem(SENT + key, field.value);
  };
  const { form } = field;

  const wasRefused = document.querySelector(".notices b") !== null;
  const kept = sessionStorage.getItem(key) ?? (wasRefused ? sessionStorage.getItem(SENT + key) : null);
  sessionStorage.removeItem(SENT + key);
  // What came back from the server with something to mend is newer.
  if (kept !== null && !field.matches('[aria-invalid="true"]')) {
    field.value = kept;
    field.closest("details")?.setAttribute("open", "");
  }
  field.addEventListener("input", keep);
  form.addEventListener("submit", send);
  return () => {
    field.removeEventListener("input", keep);
    form.removeEventListener("submit", send);
  };
});

// Whoever signs in next in this tab finds nothing of it.
attach('form[action$="/sign-out/"]', (form) => {
  const clear = () => {
    for (const key of Object.keys(sessionStorage)) if (key.startsWith(MARK)) sessionStorage.removeItem(key);
  };
  form.addEventListener("submit", clear);
  return () => form.removeEventListener("submit", clear);
});
