// What is chosen for analysis and what it shows, where more than one answer is possible.
import { element } from "./ask.js";
import { say } from "./words.js";

const $ = (id) => document.getElementById(id);
const isClip = (file) => file.type.startsWith("video/") || /\.(mp4|m4v|mov|avi|mkv|webm)$/i.test(file.name);

export class Basket {
  constructor(send) {
    Object.assign(this, { send, files: [], first: null });
    $("cameras").addEventListener("click", () => this.open([], "together"));
    $("more").addEventListener("change", () => { this.put([...$("more").files]); $("more").value = ""; });
    $("first-clip").addEventListener("change", () => { this.first = this.files[Number($("first-clip").value)]; });
    $("basket-close").addEventListener("click", () => this.close());
    $("basket").addEventListener("change", (event) => { if (event.target.name === "how") this.draw(); });
    $("basket").addEventListener("submit", (event) => { event.preventDefault(); this.analyse(); });
  }

  // One clip, or stills alone, leave nothing to ask.
  take(files) {
    if (!$("basket").hidden) this.put(files);
    else if (files.length > 1 && files.some(isClip)) this.open(files, "");
    else this.send([{ files }]);
  }

  open(files, how) {
    Object.assign(this, { files: [], first: null });
    for (const choice of $("basket").elements.how) choice.checked = choice.value === how;
    $("basket").hidden = false;
    this.put(files);
    (files.length ? $("basket").elements.how[0] : $("more")).focus();
  }

  put(files) {
    const isThere = (file) => this.files.some((each) => each.name === file.name && each.size === file.size && each.lastModified === file.lastModified);
    this.files.push(...files.filter((file) => !isThere(file)));
    this.draw();
  }

  get how() { return $("basket").elements.how.value; }

  draw() {
    $("basket-files").replaceChildren(...this.files.map((file, at) => element("li", {}, element("span", {}, file.name), " ",
      element("button", { type: "button", "aria-label": say("page.basket_remove_one", { name: file.name }), onclick: () => this.drop(at) }, say("page.basket_remove")))));
    $("basket-none").hidden = this.files.length > 0;
    $("first-part").hidden = this.how !== "together" || this.files.length < 2;
    $("first-clip").replaceChildren(...this.files.map((file, at) => element("option", { value: at, selected: file === this.first }, file.name)));
    $("basket-trouble").textContent = "";
  }

  drop(at) {
    this.files.splice(at, 1);
    this.draw();
    $("more").focus();
  }

  // Why the files cannot be analysed as chosen; null if they can.
  trouble() {
    if (!this.files.length) return say("page.basket_none");
    if (!this.how) return say("page.basket_how");
    if (this.how !== "together") return null;
    const still = this.files.find((file) => !isClip(file));
    if (still) return say("page.together_still", { name: still.name });
    return this.files.length < 2 ? say("page.together_one", { name: this.files[0].name }) : null;
  }

  analyse() {
    const trouble = this.trouble();
    $("basket-trouble").textContent = trouble ?? "";
    if (trouble) return;
    const isTogether = this.how === "together";
    const isFirst = (file) => Number(file === this.first);
    const files = isTogether ? [...this.files].sort((one, other) => isFirst(other) - isFirst(one)) : this.files;
    const parts = this.how === "apart" ? files.map((file) => ({ files: [file] })) : [{ files, isTogether }];
    this.close();
    this.send(parts);
  }

  close() {
    this.files = [];
    this.draw();
    $("basket").hidden = true;
    $("files").focus();
  }
}
