// What a scale that is heard adds to the weigh-in: its figure as it weighs, on a button
// beside each tote that takes it. Only a figure at rest is taken; the field is marked as
// captured until somebody types in it. The house believes a mark only where it heard the
// scale say so.
"use strict";

for (const words of document.querySelectorAll("[data-live]")) {
  const form = words.closest("form");
  const chosen = form.querySelector("[name=scale]");
  const live = words.dataset.live.split(" ");
  const ofForm = words.dataset.unit;
  // What the scale showed last, and when it was asked.
  let shown = null;
  let asked = 0;
  const buttons = [];
  let byHand = true;

  const tokens = (field) => field.value.split(/\s+/).filter(Boolean);

  // Marks of a field: the figures in it that are the scale's, by their place.
  const marks = new Map();
  const mark = (field, at, element) => {
    if (!marks.has(field)) marks.set(field, { before: tokens(field), of: [] });
    const kept = marks.get(field);
    kept.of.push({ at, element });
    kept.before = tokens(field);
  };
  form.addEventListener("input", (event) => {
    const kept = marks.get(event.target);
    if (!byHand || !kept) return;
    const now = tokens(event.target);
    let same = 0;
    while (same < now.length && now[same] === kept.before[same]) same += 1;
    kept.of = kept.of.filter(({ at, element }) => {
      if (at < same) return true;
      element.remove();
      return false;
    });
    kept.before = now;
  });

  // Marks of fields that somebody emptied, or that are gone.
  const prune = () => {
    for (const [field, kept] of marks) {
      kept.of = kept.of.filter(({ at, element }) => {
        const stands = field.isConnected && tokens(field)[at] === element.value.split(" ")[0];
        if (!stands) element.remove();
        return stands;
      });
    }
  };

  const fieldsOf = (box) => [...box.querySelectorAll("input[inputmode=decimal], textarea[inputmode=decimal]")];

  // Marks that came back with a form that was checked.
  const fields = [...form.querySelectorAll("fieldset")].flatMap(fieldsOf);
  for (const element of form.querySelectorAll("input[name=captured]")) {
    const figure = element.value.split(" ")[0];
    const place = (field) => tokens(field).findIndex((text, at) =>
      text === figure && !marks.get(field)?.of.some((mark) => mark.at === at));
    const field = fields.find((one) => place(one) >= 0);
    if (field) mark(field, place(field), element); else element.remove();
  }

  const take = (field) => {
    if (!shown?.stable || shown.unit !== ofForm || Date.now() - asked > 2000) return;
    const element = document.createElement("input");
    element.type = "hidden";
    element.name = "captured";
    element.value = `${shown.weight} ${shown.unit}`;
    byHand = false;
    if (field.matches("textarea")) {
      field.value = [...tokens(field), shown.weight, ""].join(" ");
    } else {
      for (const old of marks.get(field)?.of ?? []) old.element.remove();
      marks.delete(field);
      field.value = shown.weight;
    }
    form.append(element);
    mark(field, tokens(field).length - 1, element);
    field.dispatchEvent(new Event("input", { bubbles: true }));
    byHand = true;
  };

  const known = new WeakSet();
  const attach = (box) => {
    known.add(box);
    // One that came with the copy of another box.
    box.querySelector(".take")?.remove();
    const all = fieldsOf(box);
    if (!all.length) return;
    let into = all[0];
    for (const field of all) field.addEventListener("focus", () => { into = field; show(); });
    const button = document.createElement("button");
    button.type = "button";
    button.className = "quiet take";
    button.hidden = true;
    button.addEventListener("click", () => take(into));
    // Over the whole width, so that no field moves as its words change.
    box.querySelector("legend").after(button);
    buttons.push({ button, label: () => form.querySelector(`label[for="${into.id}"]`).textContent });
  };

  const says = () => {
    const { quiet, moving, other, take: word } = words.dataset;
    if (!shown) return [quiet, false];
    const figure = `${shown.weight} ${shown.unit}`;
    if (shown.unit !== ofForm) return [`${figure}: ${other}`, false];
    return shown.stable ? [`${word}: ${figure}`, true] : [`${figure}: ${moving}`, false];
  };
  const show = () => {
    const [said, ready] = says();
    for (const { button, label } of buttons) {
      if (!button.isConnected) continue;
      button.hidden = !live.includes(chosen.value);
      const text = ready ? `${label()}, ${said}` : said;
      // Only where it differs: the form is watched, and this is in it.
      if (button.textContent !== text) button.textContent = text;
      button.setAttribute("aria-disabled", String(!ready));
    }
  };

  const ask = async () => {
    let wait = 400;
    if (live.includes(chosen.value) && document.visibilityState === "visible") {
      const of = chosen.value;
      try {
        const answer = await fetch(`/scales/${of}/reading`, { redirect: "error" });
        const read = answer.status === 200 ? await answer.json() : null;
        if (of === chosen.value) [shown, asked] = [read, Date.now()];
      } catch {
        shown = null;
        wait = 3000;
      }
      prune();
      show();
    }
    setTimeout(ask, wait);
  };
  const look = () => {
    for (const box of form.querySelectorAll("fieldset")) if (!known.has(box)) attach(box);
  };
  new MutationObserver(() => { look(); show(); }).observe(form, { childList: true, subtree: true });
  look();
  chosen.addEventListener("change", () => { shown = null; show(); });
  show();
  ask();
}
