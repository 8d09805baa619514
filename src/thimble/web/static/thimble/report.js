// Keeps what is typed in this tab, and sends it when the connection is back. Everything works without.
"use strict";
(() => {
  const KEY = "thimble-report:";
  const KEEP_MS = 2 * 60 * 60 * 1000;

  const stored = (key) => {
    try {
      const draft = JSON.parse(sessionStorage.getItem(key));
      return draft && Date.now() - draft.at < KEEP_MS ? draft : null;
    } catch { return null; }
  };
  const forgetAll = () => {
    try {
      Object.keys(sessionStorage).filter((key) => key.startsWith(KEY)).forEach((key) => sessionStorage.removeItem(key));
    } catch { /* storage may be switched off */ }
  };

  const SENT = "thimble-sent";
  if (document.querySelector("[data-sent]")) {
    forgetAll();
    try { sessionStorage.setItem(SENT, "1"); } catch { /* as above */ }
    return;
  }
  const form = document.querySelector("form[data-draft]");
  if (!form) return;
  const key = KEY + form.dataset.draft;
  const skip = new Set(["csrfmiddlewaretoken", "waited"]);
  const typed = (e) => !["radio", "checkbox", "select-one"].includes(e.type) && e.value !== e.defaultValue;
  const controls = () => [...form.elements].filter((e) => e.name && !skip.has(e.name));

  // "15 min ago" was true when it was chosen. The report may be sent much later (a phone without
  // connection), so the seconds since the choice go with it and the server takes them off too. Two
  // clocks, and the longer time counts: the monotonic one stands still while some phones sleep, the
  // other may be set back. A clock set forward by more than a week is no measure of a wait.
  const WEEK_S = 7 * 24 * 60 * 60;
  const waited = form.elements.waited;
  let chosen = null;
  const chose = (before = 0) => { chosen = { before, steady: performance.now(), wall: Date.now() }; };
  const since = () => {
    const steady = (performance.now() - chosen.steady) / 1000;
    const wall = (Date.now() - chosen.wall) / 1000;
    return Math.ceil(chosen.before + (wall > WEEK_S ? steady : Math.max(steady, wall)));
  };
  // A page that came back to be sent again brings the seconds that had passed until then.
  chose(Number(waited.defaultValue) || 0);

  const save = () => {
    const fields = {};
    for (const e of controls()) {
      if (e.type === "radio" || e.type === "checkbox") { if (e.checked) fields[e.name] = e.value; }
      else if (e.value) fields[e.name] = e.value;
    }
    try { sessionStorage.setItem(key, JSON.stringify({ at: Date.now(), since: since(), fields })); } catch { /* as above */ }
  };
  const restore = () => {
    // A page that came back with errors already holds what was typed.
    if (document.querySelector("[role=alert]")) return;
    const draft = stored(key);
    if (!draft) return;
    const { fields } = draft;
    // No steady clock outlives a page; the other one has to do for the time between.
    if (fields.when) chose((draft.since || 0) + Math.max(0, Date.now() - draft.at) / 1000);
    for (const e of controls()) {
      if (!(e.name in fields)) continue;
      if (e.type === "radio" || e.type === "checkbox") e.checked = fields[e.name] === e.value;
      // What was typed while this script was still on its way is newer than what was kept.
      else if (!typed(e)) e.value = fields[e.name];
    }
  };

  const other = form.querySelector("input[name=when][value=other]");
  const times = document.getElementById("another-time");
  const showTimes = () => {
    const typed = [...times.querySelectorAll("input")].some((e) => e.value);
    times.hidden = !(other.checked || typed || times.querySelector(".error"));
  };

  restore();
  if (controls().some(typed)) save();
  showTimes();
  form.addEventListener("input", (event) => {
    if (event.target.name === "when") chose();
    if (times.contains(event.target) && event.target.value) other.checked = true;
    showTimes();
    save();
  });
  form.addEventListener("change", (event) => {
    if (event.target.name === "when") chose();
    // Whoever goes back to "just now" does not mean the day and time any more.
    if (event.target.name === "when" && event.target !== other) {
      times.querySelectorAll("input").forEach((e) => { e.value = ""; });
    }
    showTimes();
    save();
  });

  const lost = document.getElementById("connection");
  const button = form.querySelector("button.button");
  let waiting = null;
  let sending = false;

  const attempt = async () => {
    try {
      const answer = await fetch(form.dataset.alive, { cache: "no-store", method: "GET" });
      if (!answer.ok) throw new Error("no answer");
    } catch {
      lost.hidden = false;
      button.textContent = "Waiting for the connection";
      if (waiting === null) {
        lost.scrollIntoView({ block: "center" });
        waiting = setInterval(attempt, 8000);
      }
      return;
    }
    if (sending) return;
    sending = true;
    clearInterval(waiting);
    waited.value = since();
    form.submit();
  };
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    save();
    attempt();
  });
  window.addEventListener("online", () => { if (waiting !== null) attempt(); });
  // Back by the browser's button after sending: on a shared computer nothing of it may be left. A
  // page asked for anew is empty and has its own token.
  window.addEventListener("pageshow", (event) => {
    sending = false;
    let sent = null;
    try { sent = sessionStorage.getItem(SENT); sessionStorage.removeItem(SENT); } catch { /* as above */ }
    const [entry] = performance.getEntriesByType("navigation");
    if (sent && (event.persisted || (entry && entry.type === "back_forward"))) {
      forgetAll();
      form.reset();
      location.replace(location.pathname);
    }
  });
})();
