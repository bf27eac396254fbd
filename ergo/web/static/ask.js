// Requests to our own server; what it complains about is told to the reader.
const told = () => document.getElementById("told");

// `stays`: until something else is told.
export function tell(text, { isTrouble = false, stays = false } = {}) {
  const place = told();
  place.textContent = text;
  place.classList.toggle("trouble", isTrouble);
  clearTimeout(tell.timer);
  if (!stays) tell.timer = setTimeout(() => { place.textContent = ""; }, isTrouble ? 12000 : 8000);
}

// A refusal was told to the reader; nobody else need catch it.
addEventListener("unhandledrejection", (event) => { if (event.reason?.status) event.preventDefault(); });

export async function ask(path, options = {}) {
  const answer = await fetch(path, options);
  if (answer.ok) return answer;
  let why = answer.statusText;
  try { why = (await answer.json()).error || why; } catch { /* no words */ }
  tell(why, { isTrouble: true });
  throw Object.assign(new Error(why), { status: answer.status });
}

export async function askJson(path, content, method = "POST") {
  const options = content === undefined ? {} : {
    method, headers: { "content-type": "application/json" }, body: JSON.stringify(content),
  };
  const answer = await ask(path, options);
  return answer.status === 204 ? null : answer.json();
}

export function element(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (value !== false && value != null) made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children);
  return made;
}
