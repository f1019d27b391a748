package api

import (
	"net/http"
	"net/url"
	"time"

	"evenrig/service/trial"
)

// cookieName has the prefix that makes browsers take the cookie over https (or from this machine) only, for this host only
// and for all paths (RFC 6265bis, section 4.1.3).
const cookieName = "__Host-evenrig"

// sessionCookie is the cookie of a session; of "", one that ends it.
func sessionCookie(secret string) *string {
	c := http.Cookie{Name: cookieName, Value: secret, Path: "/", Secure: true, HttpOnly: true, SameSite: http.SameSiteLaxMode, MaxAge: int(trial.SessionLife / time.Second)}
	if secret == "" {
		c.MaxAge = -1
	}
	text := c.String()
	return &text
}

// cookieOf returns the secret in the request's cookie, "" when there is none.
func cookieOf(r *http.Request) string {
	c, err := r.Cookie(cookieName)
	if err != nil {
		return ""
	}
	return c.Value
}

// newCrossOrigin refuses what a browser sends from another site. Pages at the service's public address are its own, also
// where a proxy hands requests on under another name.
func newCrossOrigin(publicURL string) *http.CrossOriginProtection {
	p := http.NewCrossOriginProtection()
	if u, err := url.Parse(publicURL); publicURL != "" && err == nil {
		if err := p.AddTrustedOrigin(u.Scheme + "://" + u.Host); err != nil {
			panic("public URL: " + err.Error())
		}
	}
	return p
}

// ownPage refuses a request that changes something and comes from another site's page. A cookie goes with whatever a
// browser sends, so that with one the browser must say where it comes from, as all have since 2023.
func (s *Server) ownPage(r *http.Request, withCookie bool) error {
	if r.Method == http.MethodGet || r.Method == http.MethodHead || r.Method == http.MethodOptions {
		return nil
	}
	told := r.Header.Get("Sec-Fetch-Site") != "" || r.Header.Get("Origin") != ""
	if s.crossOrigin.Check(r) != nil || withCookie && !told {
		return refuse(http.StatusForbidden, "request.cross_site", "with a cookie this is taken from this site's own pages only; programs send Authorization: Bearer and a token")
	}
	return nil
}
