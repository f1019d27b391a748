// The angler's own share of the draw is made here, in his browser, so that nobody knew it before he joined. The id and the
// code that came with the page stand in where this does not run.
const hex = (bytes) => Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
const id = document.querySelector("[data-new-id]");
const code = document.querySelector("[data-new-code]");
if (id && code && crypto.randomUUID && !document.querySelector("[role=alert]")) {
  id.value = crypto.randomUUID();
  code.value = hex(crypto.getRandomValues(new Uint8Array(32)));
}
