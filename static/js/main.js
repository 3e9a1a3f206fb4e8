// Small helps for pages that already work without them, bound by data attributes.

/** Say that work is going on while a form is answered, and keep it from being sent twice. */
function sayBusy(form) {
  const status = document.createElement("p");
  status.setAttribute("role", "status");
  status.className = "soft";
  form.append(status);
  form.addEventListener("submit", (event) => {
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    form.dataset.sent = "yes";
    event.submitter?.setAttribute("aria-busy", "true");
    const mainButton = !event.submitter?.value || event.submitter.value === "advise";
    status.textContent = mainButton ? form.dataset.busy : "";
  });
  // The back button brings the page back as it was left: ready to send again.
  window.addEventListener("pageshow", () => {
    delete form.dataset.sent;
    status.textContent = "";
    for (const button of form.querySelectorAll("[aria-busy]")) button.removeAttribute("aria-busy");
  });
}

/** Narrow down the options of a select as one types. */
function addFilter(select) {
  const all = [...select.querySelectorAll("option")].map((option) => ({
    option,
    group: option.parentElement,
    text: option.textContent.toLowerCase(),
  }));
  if (all.length < 12) return;
  const label = document.createElement("label");
  label.className = "small soft";
  label.textContent = "Narrow down";
  const box = document.createElement("input");
  box.type = "search";
  box.id = `filter-${select.id}`;
  label.htmlFor = box.id;
  box.setAttribute("aria-controls", select.id);
  const choice = document.createElement("div");
  choice.className = "choice";
  const told = document.createElement("span");
  told.setAttribute("role", "status");
  told.className = "small soft";
  box.addEventListener("input", () => {
    const words = box.value.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    for (const { option, text } of all) {
      const fits = !option.value || option.selected || words.every((word) => text.includes(word));
      option.hidden = !fits;
      option.disabled = !fits;
      if (fits && option.value) shown += 1;
    }
    for (const group of select.querySelectorAll("optgroup")) {
      group.hidden = [...group.children].every((option) => option.hidden);
    }
    told.textContent = `${shown} to choose from`;
  });
  select.replaceWith(choice);
  choice.append(label, box, told, select);
}

for (const form of document.querySelectorAll("form[data-busy]")) sayBusy(form);
for (const select of document.querySelectorAll("select[data-filter]")) addFilter(select);
document.querySelector("[data-focus]")?.focus();
for (const button of document.querySelectorAll("button[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}
