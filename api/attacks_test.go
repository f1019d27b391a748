package api_test

import (
	"fmt"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"evenrig/api"
	"evenrig/openapi"
)

// signedIn is an angler of a new club with a password, and his cookie.
func signedIn(t *testing.T, w *world) (c *club, ida *person, cookie string) {
	t.Helper()
	c = w.newClub("Wend Fly Fishers")
	ida = c.invited("angler", "Ida Beck")
	email, password := "ida@example.org", passphrase
	ok[*openapi.PutSignInResponse](t, 204)(ida.PutSignInWithResponse(t.Context(), openapi.NewSignIn{Email: &email, Password: &password}))
	in := ok[*openapi.SignInResponse](t, 201)(w.person("").SignInWithResponse(t.Context(), openapi.SignIn{Email: email, Password: password}))
	return c, ida, cookieIn(t, in.HTTPResponse.Header)
}

// A cookie changes nothing unless the browser says that this site's own page asks; also signing in, so that nobody is
// signed in to somebody else's account by another site. Tokens are not sent by browsers of themselves and need none of it.
func TestOtherSitesAreRefused(t *testing.T) {
	w := newWorld(t)
	_, ida, cookie := signedIn(t, w)
	nobody := w.person("")
	const path, body = "/v1/me/tokens", `{"name":"stolen"}`
	for _, from := range [][]string{
		{"Sec-Fetch-Site", "cross-site"},
		{"Sec-Fetch-Site", "same-site"},
		{"Sec-Fetch-Site", "cross-site", "Origin", w.url},
		{"Origin", "https://bait.example"},
		{"Origin", "null"},
		{"Origin", "https://bait.example", "X-Forwarded-Host", "bait.example"},
		{},
	} {
		a := nobody.send("POST", path, body, append([]string{"Cookie", cookie}, from...)...)
		if a.status != 403 || a.problem(t).Code != "request.cross_site" {
			t.Errorf("with a cookie from %q: %d %s", from, a.status, a.body)
		}
		if len(from) == 0 {
			continue
		}
		in := nobody.send("POST", "/v1/sessions", `{"email":"ida@example.org","password":"`+passphrase+`"}`, from...)
		if in.status != 403 || in.header.Get("Set-Cookie") != "" {
			t.Errorf("signing in from %q: %d", from, in.status)
		}
		if a := ida.send("POST", path, body, from...); a.status != 201 {
			t.Errorf("with a token from %q: %d %s", from, a.status, a.body)
		}
	}
	for _, from := range [][]string{{"Sec-Fetch-Site", "same-origin"}, {"Sec-Fetch-Site", "none"}, {"Origin", w.url}} {
		if a := nobody.send("POST", path, body, append([]string{"Cookie", cookie}, from...)...); a.status != 201 {
			t.Errorf("with a cookie from %q: %d %s", from, a.status, a.body)
		}
	}
	// Intake too: a cookie of a real session, a fish of another site.
	at := fmt.Sprintf("/v1/trials/%s/catches/%s", newID(), newID())
	if a := nobody.send("PUT", at, `{}`, "Cookie", cookie, "Sec-Fetch-Site", "cross-site"); a.status != 403 {
		t.Errorf("a fish from another site: %d", a.status)
	}
}

// A cookie's secret is no token and a token's secret no cookie, also after one was remembered; a cookie that was rotated
// lets nobody in, also none that was remembered.
func TestSecretsAreGoodForOneThing(t *testing.T) {
	w := newWorld(t)
	_, ida, cookie := signedIn(t, w)
	nobody := w.person("")
	page := []string{"Sec-Fetch-Site", "same-origin"}
	for range 2 {
		if a := nobody.send("GET", "/v1/me", "", "Cookie", cookie); a.status != 200 {
			t.Fatalf("the cookie: %d %s", a.status, a.body)
		}
		_, secret, _ := strings.Cut(cookie, "=")
		if a := w.person(secret).send("GET", "/v1/me", ""); a.status != 401 {
			t.Errorf("a cookie's secret sent as a token: %d", a.status)
		}
		if a := nobody.send("GET", "/v1/me", "", "Cookie", "__Host-evenrig="+ida.token); a.status != 401 {
			t.Errorf("a token sent as a cookie: %d", a.status)
		}
	}
	set := nobody.send("PUT", "/v1/me/sign-in", `{"current_password":"`+passphrase+`","email":"ida.beck@example.org"}`, append(page, "Cookie", cookie)...)
	if set.status != 204 {
		t.Fatalf("another address: %d %s", set.status, set.body)
	}
	rotated := cookieIn(t, set.header)
	if a := nobody.send("GET", "/v1/me", "", "Cookie", cookie); a.status != 401 {
		t.Errorf("the cookie from before: %d", a.status)
	}
	if a := nobody.send("GET", "/v1/me", "", "Cookie", rotated); a.status != 200 {
		t.Errorf("the cookie from after: %d", a.status)
	}
}

// Each operation of the document takes one scope, and a token without it gets 403 before anything is looked at.
func TestScopes(t *testing.T) {
	w := newWorld(t)
	_, ida, _ := signedIn(t, w)
	tokens := map[string]*person{}
	for _, scope := range []string{"read", "log", "organise", "account"} {
		made := ok[*openapi.CreateTokenResponse](t, 201)(ida.CreateTokenWithResponse(t.Context(), openapi.NewToken{Name: scope, Scopes: &[]string{scope}}))
		tokens[scope] = w.person(made.JSON201.Secret)
	}
	takes := map[string][]string{}
	for path, item := range document().Paths.Map() {
		for method, op := range item.Operations() {
			if op.Security != nil || op.OperationID == "signOut" {
				continue
			}
			at := regexp.MustCompile(`\{\w+\}`).ReplaceAllLiteralString(path, "0190a2b4-7c1d-7e5f-8a3b-0123456789ab")
			for scope, p := range tokens {
				a := p.send(method, at, "{")
				if a.status != 403 || a.problem(t).Code != "token.scope" {
					takes[op.OperationID] = append(takes[op.OperationID], scope)
				}
			}
			if n := len(takes[op.OperationID]); n != 1 && op.OperationID != "getMe" {
				t.Errorf("%s takes %q", op.OperationID, takes[op.OperationID])
			}
		}
	}
	for op, scope := range map[string]string{
		"listTrials": "read", "exportCatches": "read", "getEnrolment": "read", "putCatch": "log", "submitCatches": "log", "withdraw": "log", "amendCatch": "log",
		"moveTrial": "organise", "importTable": "organise", "requestAnalysis": "organise", "createToken": "account", "listTokens": "account", "putSignIn": "account",
		"createInvitation": "account", "takeRole": "account", "makeReset": "account", "makeMemberReset": "account", "removeMember": "account",
	} {
		if got := takes[op]; len(got) != 1 || got[0] != scope {
			t.Errorf("%s takes %q, want %s", op, got, scope)
		}
	}
}

// Over a limit the answer is 429 with the seconds to wait, and nothing was done; a batch counts once; others go on.
func TestLimits(t *testing.T) {
	limited := func(l api.Limits) *world {
		w := newEmptyWorld(t, api.Options{Limits: l})
		secret, err := w.service.FirstAdmin(t.Context(), "Ada")
		if err != nil {
			t.Fatal(err)
		}
		w.admin = w.person(secret)
		return w
	}
	over := func(what string, a answer, code string, least, most int) {
		t.Helper()
		wait, err := strconv.Atoi(a.header.Get("Retry-After"))
		if a.status != http.StatusTooManyRequests || a.problem(t).Code != code || err != nil || wait < least || wait > most {
			t.Errorf("%s: %d, Retry-After %q: %s", what, a.status, a.header.Get("Retry-After"), a.body)
		}
	}
	small := api.Rate{Burst: 3, PerMinute: 1}
	w := limited(api.Limits{Credential: small})
	second := ok[*openapi.CreateTokenResponse](t, 201)(w.admin.CreateTokenWithResponse(t.Context(), openapi.NewToken{Name: "second"}))
	for range 2 {
		ok[*openapi.GetMeResponse](t, 200)(w.admin.GetMeWithResponse(t.Context()))
	}
	over("a fourth request", w.admin.send("GET", "/v1/me", ""), "request.too_many", 50, 60)
	ok[*openapi.GetMeResponse](t, 200)(w.person(second.JSON201.Secret).GetMeWithResponse(t.Context()))

	w = limited(api.Limits{Address: small})
	for range 3 {
		w.person("rig_guess").send("GET", "/v1/me", "")
	}
	over("a fourth guess", w.person("rig_guess").send("GET", "/v1/me", ""), "request.too_many", 50, 60)
	ok[*openapi.GetReadinessResponse](t, 200)(w.admin.GetReadinessWithResponse(t.Context()))

	w = limited(api.Limits{Costly: small})
	at := fmt.Sprintf("/v1/trials/%s/catches.csv", newID())
	for range 3 {
		w.admin.send("GET", at, "")
	}
	over("a fourth table", w.admin.send("GET", at, ""), "request.too_many", 50, 60)
	ok[*openapi.GetMeResponse](t, 200)(w.admin.GetMeWithResponse(t.Context()))

	w = limited(api.Limits{SignIn: small})
	try := func(email string) answer {
		return w.person("").send("POST", "/v1/sessions", fmt.Sprintf(`{"email":%q,"password":"wrong"}`, email))
	}
	for _, email := range []string{"none@example.org", "NONE@example.org", " none@example.org"} {
		if a := try(email); a.status != 401 {
			t.Errorf("an attempt: %d", a.status)
		}
	}
	over("a fourth attempt at an account that is none", try("none@example.org"), "sign_in.too_many", 50, 60)
	if a := try("other@example.org"); a.status != 401 {
		t.Errorf("an attempt at another account: %d", a.status)
	}
	w = limited(api.Limits{SignInAddress: small})
	for i := range 3 {
		try(fmt.Sprint(i, "@example.org"))
	}
	over("a fourth account from one address", try("3@example.org"), "sign_in.too_many", 50, 60)
	over("a guessed link", w.person("").send("POST", "/v1/resets/use", `{"secret":"reset_x"}`), "sign_in.too_many", 50, 60)
}

// A limit is written as how many at once and how many a minute; a process takes its part.
func TestRates(t *testing.T) {
	var r api.Rate
	for _, bad := range []string{"", "1", "0,1", "-1,1", "1,0", "1,-1", "x,1", "1,x", "1,NaN", "1,Inf", "1,1,1"} {
		if err := r.UnmarshalText([]byte(bad)); err == nil {
			t.Errorf("%q is the limit %+v", bad, r)
		}
	}
	if err := r.UnmarshalText([]byte("1000,1200")); err != nil || r != (api.Rate{Burst: 1000, PerMinute: 1200}) || r.Share(4) != (api.Rate{Burst: 250, PerMinute: 300}) {
		t.Errorf("%+v, %v", r, err)
	}
	if err := r.UnmarshalText([]byte("none")); err != nil || r != (api.Rate{}) || (api.Rate{Burst: 1, PerMinute: 1}).Share(9).Burst != 1 {
		t.Errorf("%+v, %v", r, err)
	}
}

// What only the server decides cannot be sent along (mass assignment).
func TestNothingCanBeSentAlong(t *testing.T) {
	w := newWorld(t)
	c, ida, _ := signedIn(t, w)
	inv := ok[*openapi.CreateInvitationResponse](t, 201)(c.organiser.CreateInvitationWithResponse(t.Context(), c.id, openapi.NewInvitation{Role: "angler"}))
	for _, try := range []struct{ method, path, body string }{
		{"PUT", "/v1/me/sign-in", `{"email":"x@example.org","admin":true,"current_password":"` + passphrase + `"}`},
		{"POST", "/v1/invitations/accept", `{"secret":"` + inv.JSON201.Secret + `","role":"organiser"}`},
		{"POST", "/v1/me/tokens", `{"name":"x","account_id":"` + newID().String() + `"}`},
		{"POST", "/v1/sessions", `{"email":"x@example.org","password":"x","admin":true}`},
		{"POST", "/v1/resets/use", `{"secret":"reset_x","account":"` + newID().String() + `"}`},
	} {
		if a := ida.send(try.method, try.path, try.body); a.status != 422 {
			t.Errorf("%s %s with %s: %d %s", try.method, try.path, try.body, a.status, a.body)
		}
	}
}

// No password, no secret and no address of a person stands in the log, at whatever status.
func TestTheLogKeepsPasswords(t *testing.T) {
	w := newWorld(t)
	c, ida, cookie := signedIn(t, w)
	nobody := w.person("")
	nobody.send("POST", "/v1/sessions", `{"email":"ida@example.org","password":"hush hush hush hush"}`)
	nobody.send("POST", "/v1/sessions", `{"email":"ida@example.org","password":12345678901}`)
	nobody.send("GET", "/v1/me", "", "Cookie", cookie)
	link := ok[*openapi.MakeMemberResetResponse](t, 201)(c.organiser.MakeMemberResetWithResponse(t.Context(), c.id, me(t, ida)))
	nobody.send("POST", "/v1/resets/use", `{"secret":"`+link.JSON201.Secret+`","password":"hush hush hush harder"}`)
	c.organiser.send("PUT", "/v1/me/sign-in", `{"email":"ida@example.org"}`)
	log := w.log.String()
	for _, secret := range []string{passphrase, "hush", "12345678901", "ida@", "example.org", "rig_", "ses_", "reset_", "join_", "__Host", "argon2", ida.token} {
		if strings.Contains(log, secret) {
			t.Errorf("the log has %q", secret)
		}
	}
	if !strings.Contains(log, "/v1/resets/use") {
		t.Errorf("the log lacks the requests:\n%s", log)
	}
}
