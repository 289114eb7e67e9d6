// What a script adds to pages that are whole without it: a timer at the table and keys
// for wet hands. It stores nothing and asks nothing of anybody; on signing out it has the
// browser forget.
"use strict";

// A timer that writes the minutes at the table into its field.
for (const timer of document.querySelectorAll("[data-timer]")) {
  const field = document.getElementById(timer.dataset.timer);
  const said = timer.querySelector("[data-said]");
  const [start, stop] = timer.querySelectorAll("button");
  let began = 0;
  let ticking = 0;
  const minutes = () => ((Date.now() - began) / 60000).toFixed(1);
  timer.hidden = false;
  start.addEventListener("click", () => {
    began = Date.now();
    clearInterval(ticking);
    ticking = setInterval(() => { said.textContent = minutes(); }, 1000);
  });
  stop.addEventListener("click", () => {
    if (!began) return;
    clearInterval(ticking);
    field.value = minutes();
    said.textContent = field.value;
    began = 0;
  });
}

// A keypad that types into whatever figure was touched last; one key goes on to the next.
for (const pad of document.querySelectorAll("[data-keypad]")) {
  const figures = "input[inputmode], textarea[inputmode]";
  let field = document.querySelector(figures);
  document.addEventListener("focusin", (event) => {
    if (event.target.matches(figures)) field = event.target;
  });
  pad.hidden = false;
  pad.addEventListener("click", (event) => {
    const { key } = event.target.dataset;
    if (!key || !field) return;
    if (key === "next" && field.tagName !== "TEXTAREA") {
      const all = [...document.querySelectorAll(figures)];
      field = all[all.indexOf(field) + 1] || field;
      field.focus();
      return;
    }
    const typed = key === "next" ? "\n" : key;
    field.value = key === "back" ? field.value.slice(0, -1) : field.value + typed;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  });
}

// The net of each tote as it is typed: gross less tare, said beside its number. What is
// booked is worked out by the house.
document.addEventListener("input", (event) => {
  const tote = event.target.closest("[data-net]");
  if (!tote) return;
  const [gross, tare] = tote.querySelectorAll("input[inputmode=decimal]");
  const read = (field) => (/^\d+(\.\d+)?$/.test(field.value.trim()) ? Number(field.value) : NaN);
  const net = read(gross) - (tare.value.trim() ? read(tare) : 0);
  tote.querySelector("[data-said]").textContent = net > 0 ? `= ${net.toFixed(2)}` : "";
});

for (const paper of document.querySelectorAll("[data-print]")) {
  paper.hidden = false;
  paper.addEventListener("click", () => window.print());
}

// What a weigh-in laid by is forgotten on signing out, but for entries not sent yet: those
// are kept, and the next page says so.
function kept(then) {
  const opened = window.indexedDB && indexedDB.open("weigh-in");
  if (!opened) return;
  // There is none: none is made.
  opened.onupgradeneeded = () => opened.transaction.abort();
  opened.onsuccess = () => {
    then(opened.result);
    opened.result.close();
  };
}

for (const out of document.querySelectorAll("form[action='/sign-out']")) {
  out.addEventListener("submit", () => {
    if (window.caches) caches.delete("weigh-in");
    kept((db) => {
      const tx = db.transaction(["kept", "entries"], "readwrite");
      tx.objectStore("kept").delete("stock");
      const entries = tx.objectStore("entries");
      entries.getAll().onsuccess = ({ target }) => {
        for (const of of target.result) if (of.state === "booked") entries.delete(of.n);
      };
    });
  });
}

for (const said of document.querySelectorAll("[data-kept]")) {
  kept((db) => {
    const all = db.transaction("entries").objectStore("entries").getAll();
    all.onsuccess = () => { said.hidden = all.result.every((of) => of.state === "booked"); };
  });
}
