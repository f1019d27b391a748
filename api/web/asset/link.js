// The secret of a link stands behind #, which a browser sends to nobody. It goes into the form and out of the address; a
// detour over signing in must not lose it, so the tab remembers it until the form is sent.
const place = document.querySelector("[data-from-link]");
const key = "link " + location.pathname;
const secret = decodeURIComponent(location.hash.slice(1)) || sessionStorage.getItem(key);
if (place && secret) {
  place.querySelector("input").value = secret;
  place.hidden = true;
  sessionStorage.setItem(key, secret);
  history.replaceState(null, "", location.pathname + location.search);
  place.closest("form").addEventListener("submit", () => sessionStorage.removeItem(key));
}
