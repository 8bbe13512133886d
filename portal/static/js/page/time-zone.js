// Chooses the reader's own time zone in a list that still shows another one.
import { attach } from "kitpost/lib/attach";

attach("select[data-time-zone]", (select) => {
  if (select.closest("form").querySelector("[aria-invalid]")) return; // sent once already: the choice stands
  const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
  if ([...select.options].some((option) => option.value === zone)) select.value = zone;
});
