// Times of the server's are shown as the reader's own clock has them.
for (const time of document.querySelectorAll("time[datetime]")) {
  const at = new Date(time.dateTime);
  if (!isNaN(at)) time.textContent = at.toLocaleString(document.documentElement.lang, { dateStyle: "medium", timeStyle: "short" });
}
