// What a square code holds after # is sent as a form, and taken out of the address. Typing works without.
"use strict";
(() => {
  const form = document.querySelector("form[data-square]");
  const held = location.hash.slice(1);
  if (!form || !held) return;
  history.replaceState(null, "", location.pathname);
  form.elements.square.value = held;
  form.submit();
})();
