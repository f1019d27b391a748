// Times of the server's are shown as the reader's own clock has them, in the page's language as his country writes it.
const page = document.documentElement.lang;
const own = navigator.languages.find((language) => language.startsWith(page + "-")) ?? page;
for (const time of document.querySelectorAll("time[datetime]")) {
  const at = new Date(time.dateTime);
  if (!isNaN(at)) time.textContent = at.toLocaleString(own, { dateStyle: "medium", timeStyle: "short" });
}
