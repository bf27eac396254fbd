// The dialog in which a session gets another name and other tags.
import { askJson, tell } from "./ask.js";
import { say } from "./words.js";

const $ = (id) => document.getElementById(id);
let wish = null;

export function describe(entry, then) {
  wish = { id: entry.id, then };
  $("describe-name").value = entry.name;
  $("describe-tags").value = entry.tags.join(", ");
  $("describe").showModal();
}

$("describe-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const tags = $("describe-tags").value.split(",").map((tag) => tag.trim()).filter(Boolean);
  const entry = await askJson(`/api/sessions/${wish.id}/entry`, { name: $("describe-name").value.trim(), tags });
  $("describe").close();
  wish.then(entry);
  tell(say("page.named"));
});
$("describe-close").addEventListener("click", () => $("describe").close());
