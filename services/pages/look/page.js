// What a script adds to pages that are whole without it: a timer at the table and keys
// for wet hands. It stores nothing and asks nothing of anybody.
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

// A keypad that types into whatever figure was touched last.
for (const pad of document.querySelectorAll("[data-keypad]")) {
  let field = document.querySelector("input[inputmode=decimal]");
  document.addEventListener("focusin", (event) => {
    if (event.target.matches("input[inputmode]")) field = event.target;
  });
  pad.hidden = false;
  pad.addEventListener("click", (event) => {
    const key = event.target.dataset.key;
    if (!key || !field) return;
    field.value = key === "back" ? field.value.slice(0, -1) : field.value + key;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  });
}

// The net of each tote as it is typed: gross less tare, said beside its number. What is
// booked is worked out by the house.
for (const tote of document.querySelectorAll("[data-net]")) {
  const [gross, tare] = tote.querySelectorAll("input[inputmode=decimal]");
  const said = tote.querySelector("[data-said]");
  const read = (field) => (/^\d+(\.\d+)?$/.test(field.value.trim()) ? Number(field.value) : NaN);
  tote.addEventListener("input", () => {
    const net = read(gross) - (tare.value.trim() ? read(tare) : 0);
    said.textContent = net > 0 ? `= ${net.toFixed(2)}` : "";
  });
}
