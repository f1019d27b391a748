package api_test

import (
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"regexp"
	"strings"
	"testing"
)

// browser visits pages as a browser does: with cookies, following what answers a form.
type browser struct {
	w      *world
	client *http.Client
	last   *http.Response
	body   string
}

func (w *world) browser() *browser {
	w.t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		w.t.Fatal(err)
	}
	return &browser{w: w, client: &http.Client{Jar: secureJar{jar}, CheckRedirect: func(*http.Request, []*http.Request) error { return nil }}}
}

// secureJar hands out cookies over plain HTTP too, as browsers do for a page of this machine.
type secureJar struct{ http.CookieJar }

func (j secureJar) SetCookies(u *url.URL, cookies []*http.Cookie) {
	j.CookieJar.SetCookies(asHTTPS(u), cookies)
}

func (j secureJar) Cookies(u *url.URL) []*http.Cookie { return j.CookieJar.Cookies(asHTTPS(u)) }

func asHTTPS(u *url.URL) *url.URL {
	s := *u
	s.Scheme = "https"
	return &s
}

func (b *browser) do(r *http.Request) *browser {
	b.w.t.Helper()
	answer, err := b.client.Do(r)
	if err != nil {
		b.w.t.Fatal(err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		b.w.t.Fatal(err)
	}
	b.last, b.body = answer, string(text)
	if policy := answer.Header.Get("Content-Security-Policy"); strings.HasPrefix(answer.Header.Get("Content-Type"), "text/html") && !strings.HasPrefix(policy, "default-src 'none'; ") {
		b.w.t.Errorf("%s %s came with the policy %q", r.Method, r.URL.Path, policy)
	}
	return b
}

func (b *browser) get(path string) *browser {
	b.w.t.Helper()
	r, err := http.NewRequestWithContext(b.w.t.Context(), http.MethodGet, b.w.url+path, nil)
	if err != nil {
		b.w.t.Fatal(err)
	}
	r.Header.Set("Accept", "text/html,application/xhtml+xml")
	return b.do(r)
}

// post sends a form; fields are name, value, name, value.
func (b *browser) post(path string, fields ...string) *browser {
	b.w.t.Helper()
	form := url.Values{}
	for i := 0; i+1 < len(fields); i += 2 {
		form.Add(fields[i], fields[i+1])
	}
	r, err := http.NewRequestWithContext(b.w.t.Context(), http.MethodPost, b.w.url+path, strings.NewReader(form.Encode()))
	if err != nil {
		b.w.t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Accept", "text/html")
	r.Header.Set("Origin", b.w.url)
	return b.do(r)
}

// shows fails the test unless the page has the status and all of the texts.
func (b *browser) shows(status int, texts ...string) *browser {
	b.w.t.Helper()
	if b.last.StatusCode != status {
		b.w.t.Fatalf("%s %s answered %d, want %d:\n%s", b.last.Request.Method, b.last.Request.URL, b.last.StatusCode, status, b.text())
	}
	for _, text := range texts {
		if !strings.Contains(b.body, text) {
			b.w.t.Errorf("%s does not show %q:\n%s", b.last.Request.URL, text, b.text())
		}
	}
	return b
}

var markup = regexp.MustCompile(`(?s)<svg.*?</svg>|<[^>]*>|\n\s*`)

// text is what the page says, for messages.
func (b *browser) text() string {
	body := b.body
	if i := strings.Index(body, "<main"); i >= 0 {
		body = body[i:]
	}
	return markup.ReplaceAllString(body, " ")
}

// signedIn is the browser of a person, who gets an address and a password for it.
func (p *person) signedIn(email string) *browser {
	p.w.t.Helper()
	const password = "seven quiet pools in the upper water"
	if a := p.send(http.MethodPut, "/v1/me/sign-in", text(p.w.t, map[string]any{"email": email, "password": password})); a.status != 204 {
		p.w.t.Fatalf("setting the sign-in answered %d: %s", a.status, a.body)
	}
	b := p.w.browser()
	b.post("/sign-in", "email", email, "password", password)
	if strings.Contains(b.last.Request.URL.Path, "sign-in") {
		p.w.t.Fatalf("signing in ended at %s:\n%s", b.last.Request.URL, b.body)
	}
	return b
}

func TestFrontAndFaultsArePages(t *testing.T) {
	w := newEmptyWorld(t)
	b := w.browser()
	b.get("/").shows(200, "<h1>", `id="fly-test"`, "/asset/evenrig.css?v=")
	b.get("/no-such-page").shows(404, "There is nothing here")
	b.get("/sign-in").shows(200, `name="password"`)
	b.post("/sign-in", "email", "nobody@example.org", "password", "not the right one at all").shows(401, "do not belong together", `value="nobody@example.org"`)
	if strings.Contains(b.body, "not the right one") {
		t.Error("the page shows the password that was typed")
	}
}

func TestAPageTakesNothingFromElsewhere(t *testing.T) {
	w := newWorld(t)
	b := w.admin.signedIn("ada@example.org")
	r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, w.url+"/sign-out", nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Origin", "https://elsewhere.example")
	r.Header.Set("Sec-Fetch-Site", "cross-site")
	b.do(r).shows(403)
}

func TestAssetsKeepByTheirVersion(t *testing.T) {
	w := newEmptyWorld(t)
	b := w.browser().get("/")
	at := b.body[strings.Index(b.body, "/asset/evenrig.css"):]
	at = at[:strings.Index(at, `"`)]
	b.get(at).shows(200)
	if cache := b.last.Header.Get("Cache-Control"); !strings.Contains(cache, "immutable") {
		t.Errorf("a versioned file came with %q", cache)
	}
	b.get("/asset/evenrig.css?v=another").shows(200)
	if cache := b.last.Header.Get("Cache-Control"); cache != "no-cache" {
		t.Errorf("a file of another version came with %q", cache)
	}
	b.get("/asset/..%2fsite.go").shows(404)
}
