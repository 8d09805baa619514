// Selects a field that is there to be copied, and copies it. Without, it is selected and copied by hand.
"use strict";
(() => {
  document.querySelectorAll("input[data-copy]").forEach((field) => field.addEventListener("focus", () => field.select()));
  document.querySelectorAll("button[data-copies]").forEach((button) => {
    const field = document.getElementById(button.dataset.copies);
    const told = document.getElementById("copied");
    button.hidden = false;
    button.addEventListener("click", async () => {
      field.focus();
      field.select();
      // The clipboard is for secure addresses alone; older ways ask for no permission.
      let done = false;
      try {
        await navigator.clipboard.writeText(field.value);
        done = true;
      } catch { done = document.execCommand("copy"); }
      told.textContent = done ? "Copied." : "It is selected: copy it now.";
    });
  });
})();
