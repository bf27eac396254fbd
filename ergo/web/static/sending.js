// Sends recordings in parts; one that was cut off goes on where it stopped.
import { askJson, element, tell } from "./ask.js";
import { number, say } from "./words.js";

const PART = 4 * 1024 * 1024;
const TYPE = "application/offset+octet-stream";

const keyOf = (files) => "upload " + files.map((file) => `${file.name}:${file.size}:${file.lastModified}`).join("|");

async function known(key) {
  const id = localStorage.getItem(key);
  if (!id) return null;
  const answer = await fetch(`/api/uploads/${id}`);
  return answer.ok ? { id, files: (await answer.json()).files } : null;
}

async function begun(key, files) {
  const wanted = files.map((file) => ({ name: file.name, size: file.size }));
  const { id } = await askJson("/api/uploads", { files: wanted });
  localStorage.setItem(key, id);
  return { id, files: wanted.map((file) => ({ ...file, offset: 0 })) };
}

function nameOf(files, isTogether) {
  const stems = files.map((file) => file.name.replace(/\.\w+$/, ""));
  const name = isTogether ? stems.join(" + ") : stems.length === 1 ? stems[0] : `${stems[0]} …`;
  return name.replace(/[/\\:]/g, "-").slice(0, 80);
}

export async function send(files, place, isTogether = false) {
  const bar = element("progress", { max: 1, value: 0 });
  const text = element("span");
  const row = element("p", {}, text, " ", bar);
  place.append(row);
  const key = keyOf(files);
  const name = nameOf(files, isTogether);
  try {
    const upload = await known(key) ?? await begun(key, files);
    const total = files.reduce((sum, file) => sum + file.size, 0);
    let sent = 0;
    for (const [at, file] of files.entries()) {
      for (let offset = upload.files[at].offset; offset < file.size;) {
        const answer = await fetch(`/api/uploads/${upload.id}/${at}`, {
          method: "PATCH", headers: { "content-type": TYPE, "upload-offset": offset }, body: file.slice(offset, offset + PART),
        });
        const said = await answer.json();
        if (!answer.ok) throw new Error(said.error);
        offset = said.offset;
        bar.value = (sent + offset) / total;
        text.textContent = say("page.sending", { name, share: `${number(100 * bar.value)} %` });
      }
      sent += file.size;
    }
    await askJson(`/api/uploads/${upload.id}/done`, { name, together: isTogether });
    localStorage.removeItem(key);
  } catch (error) {
    if (error instanceof TypeError) tell(say("page.send_failed", { name }), { isTrouble: true });
    else tell(error.message, { isTrouble: true });
  } finally {
    row.remove();
  }
}
