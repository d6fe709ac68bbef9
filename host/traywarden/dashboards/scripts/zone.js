// Proposes the time zone of this device. Without this script the one of the garden's own computer is proposed.
"use strict";
(() => {
  const field = document.querySelector("select[name=zone]");
  const here = Intl.DateTimeFormat().resolvedOptions().timeZone;
  const known = field && [...field.options].find((option) => option.value === here);
  if (known && field.options[field.selectedIndex].defaultSelected) known.selected = true; // nobody has chosen yet
})();
