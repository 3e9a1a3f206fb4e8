// While a draft is edited: its sums, reckoned by the server, follow what is typed.

const form = document.getElementById("draft");
const WAIT_MS = 500;
let timer = 0;
let latest = 0;

/** Put what a fresh answer of the server says in the place of what the page says. */
function take(fresh) {
  document.getElementById("sums").replaceChildren(...fresh.getElementById("sums").childNodes);
  document.getElementById("running").textContent = fresh.getElementById("running").textContent;
  for (const total of form.querySelectorAll("[data-total]")) {
    const now = fresh.querySelector(`[data-total="${total.dataset.total}"]`);
    if (now) total.textContent = now.textContent;
  }
}

async function addUp() {
  const turn = ++latest;
  const typed = new URLSearchParams();
  for (const [name, value] of new FormData(form)) if (name !== "find") typed.append(name, value);
  typed.append("action", "sums");
  try {
    const answer = await fetch(form.getAttribute("action"), { method: "POST", body: typed });
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (answer.ok && turn === latest) take(fresh);
  } catch {
    // Without a connection the sums stay as they are; the button says more.
  }
}

form.addEventListener("input", (event) => {
  if (event.target.name === "find") return;
  clearTimeout(timer);
  timer = setTimeout(addUp, WAIT_MS);
});
