package api_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"evenrig/openapi"
)

// passphrase is an invented password that keeps the rules.
const passphrase = "tidal pliers under moss"

// cookieIn returns the session's cookie as a browser would send it back.
func cookieIn(t *testing.T, h http.Header) string {
	t.Helper()
	set := h.Get("Set-Cookie")
	pair, _, _ := strings.Cut(set, ";")
	if !strings.HasPrefix(pair, "__Host-evenrig=ses_") {
		t.Fatalf("the answer sets the cookie %q", set)
	}
	for _, attribute := range []string{"HttpOnly", "Secure", "SameSite=Lax", "Path=/"} {
		if !strings.Contains(set, attribute) {
			t.Errorf("the cookie %q lacks %s", set, attribute)
		}
	}
	if strings.Contains(set, "Domain") {
		t.Errorf("the cookie %q goes to other hosts", set)
	}
	return pair
}

// accounts takes every operation of signing in, roles and members through once.
func accounts(t *testing.T, w *world, c *club) {
	ctx := t.Context()
	nobody := w.person("")
	ida := c.invited("angler", "Ida Beck")
	email, password := "Ida@Example.org", passphrase
	ok[*openapi.PutSignInResponse](t, 204)(ida.PutSignInWithResponse(ctx, openapi.NewSignIn{Email: &email, Password: &password}))
	in := ok[*openapi.SignInResponse](t, 201)(nobody.SignInWithResponse(ctx, openapi.SignIn{Email: " ida@example.org", Password: password}))
	if in.JSON201.Name != "Ida Beck" || in.JSON201.Session == nil || in.JSON201.Token != nil {
		t.Errorf("signed in: %s", in.Body)
	}
	cookie := cookieIn(t, in.HTTPResponse.Header)
	page := []string{"Cookie", cookie, "Sec-Fetch-Site", "same-origin"}
	if me := nobody.send("GET", "/v1/me", "", page...); me.status != 200 || !strings.Contains(string(me.body), `"ida@example.org"`) {
		t.Errorf("a session's me: %d %s", me.status, me.body)
	}
	program := ok[*openapi.SignInResponse](t, 201)(nobody.SignInWithResponse(ctx, openapi.SignIn{
		Email: email, Password: password, Token: &openapi.NewToken{Name: "spreadsheet", Scopes: &[]string{"read"}},
	}))
	if program.HTTPResponse.Header.Get("Set-Cookie") != "" || program.JSON201.Token == nil || len(program.JSON201.Token.Scopes) != 1 {
		t.Errorf("a program's token: %s", program.Body)
	}
	sessions := ok[*openapi.ListSessionsResponse](t, 200)(ida.ListSessionsWithResponse(ctx))
	if len(sessions.JSON200.Items) != 1 || sessions.JSON200.Items[0].Current {
		t.Errorf("sessions: %s", sessions.Body)
	}
	ok[*openapi.EndSessionResponse](t, 204)(ida.EndSessionWithResponse(ctx, sessions.JSON200.Items[0].ID))
	if gone := nobody.send("GET", "/v1/me", "", page...); gone.status != 401 || !strings.Contains(gone.header.Get("Set-Cookie"), "Max-Age=0") {
		t.Errorf("an ended session answered %d with the cookie %q", gone.status, gone.header.Get("Set-Cookie"))
	}

	account := in.JSON201.Account
	link := ok[*openapi.MakeMemberResetResponse](t, 201)(c.organiser.MakeMemberResetWithResponse(ctx, c.id, account))
	if link.JSON201.Link != "/reset#"+link.JSON201.Secret {
		t.Errorf("the link is %s", link.JSON201.Link)
	}
	ok[*openapi.MakeMemberResetResponse](t, 403)(c.organiser.MakeMemberResetWithResponse(ctx, c.id, me(t, c.scrutiny)))
	other := "seven slow herons wading"
	ok[*openapi.UseResetResponse](t, 201)(nobody.UseResetWithResponse(ctx, openapi.UseReset{Secret: link.JSON201.Secret, Password: &other}))
	ok[*openapi.UseResetResponse](t, 404)(nobody.UseResetWithResponse(ctx, openapi.UseReset{Secret: link.JSON201.Secret, Password: &other}))
	ok[*openapi.GetMeResponse](t, 401)(ida.GetMeWithResponse(ctx))
	ok[*openapi.SignInResponse](t, 401)(nobody.SignInWithResponse(ctx, openapi.SignIn{Email: email, Password: password}))
	link2 := ok[*openapi.MakeResetResponse](t, 201)(w.admin.MakeResetWithResponse(ctx, openapi.NewReset{Email: &email}))
	back := ok[*openapi.UseResetResponse](t, 201)(nobody.UseResetWithResponse(ctx, openapi.UseReset{Secret: link2.JSON201.Secret, Token: &openapi.NewToken{Name: "phone"}}))
	ida = w.person(back.JSON201.Token.Secret)
	ok[*openapi.MakeResetResponse](t, 403)(ida.MakeResetWithResponse(ctx, openapi.NewReset{Email: &email}))
	ok[*openapi.ExportOwnDataResponse](t, 200)(ida.ExportOwnDataWithResponse(ctx, nil))
	events := ok[*openapi.ListEventsResponse](t, 200)(ida.ListEventsWithResponse(ctx))
	if n := strings.Count(string(events.Body), `"reset_made"`); n != 2 {
		t.Errorf("%d resets are told of: %s", n, events.Body)
	}
	ok[*openapi.ListClubEventsResponse](t, 200)(c.scrutiny.ListClubEventsWithResponse(ctx, c.id))

	first := ok[*openapi.OfferRoleResponse](t, 201)(c.organiser.OfferRoleWithResponse(ctx, c.id, openapi.NewHandover{To: account}))
	ok[*openapi.EndOfferResponse](t, 204)(ida.EndOfferWithResponse(ctx, c.id, first.JSON201.ID))
	offer := ok[*openapi.OfferRoleResponse](t, 201)(c.organiser.OfferRoleWithResponse(ctx, c.id, openapi.NewHandover{To: account}))
	ok[*openapi.ListHandoversResponse](t, 200)(c.scrutiny.ListHandoversWithResponse(ctx, c.id))
	ok[*openapi.TakeRoleResponse](t, 404)(c.scrutiny.TakeRoleWithResponse(ctx, c.id, offer.JSON201.ID))
	ok[*openapi.TakeRoleResponse](t, 204)(ida.TakeRoleWithResponse(ctx, c.id, offer.JSON201.ID))
	ok[*openapi.CreateInvitationResponse](t, 403)(c.organiser.CreateInvitationWithResponse(ctx, c.id, openapi.NewInvitation{Role: "angler"}))
	again := ok[*openapi.OfferRoleResponse](t, 201)(ida.OfferRoleWithResponse(ctx, c.id, openapi.NewHandover{To: me(t, c.organiser)}))
	ok[*openapi.TakeRoleResponse](t, 204)(c.organiser.TakeRoleWithResponse(ctx, c.id, again.JSON201.ID))
	ok[*openapi.RemoveMemberResponse](t, 204)(c.organiser.RemoveMemberWithResponse(ctx, c.id, account))
	ok[*openapi.GetClubResponse](t, 404)(ida.GetClubWithResponse(ctx, c.id))
	ok[*openapi.SignOutResponse](t, 204)(ida.SignOutWithResponse(ctx, openapi.SignOut{}))
	ok[*openapi.GetMeResponse](t, 401)(ida.GetMeWithResponse(ctx))
}

func me(t *testing.T, p *person) openapi.AccountID {
	t.Helper()
	return ok[*openapi.GetMeResponse](t, 200)(p.GetMeWithResponse(t.Context())).JSON200.ID
}

// becomingFirst takes a new server's link: once, while nobody is known.
func becomingFirst(t *testing.T) {
	w := newEmptyWorld(t)
	secret, err := w.service.FirstAdminLink(t.Context())
	if err != nil || !strings.HasPrefix(secret, "first_") {
		t.Fatalf("a new server's link: %q, %v", secret, err)
	}
	nobody := w.person("")
	ok[*openapi.BecomeFirstAdminResponse](t, 404)(nobody.BecomeFirstAdminWithResponse(t.Context(), openapi.FirstAdmin{Secret: "first_guessed", Name: "Ada"}))
	in := ok[*openapi.BecomeFirstAdminResponse](t, 201)(nobody.BecomeFirstAdminWithResponse(t.Context(), openapi.FirstAdmin{
		Secret: secret, Name: "Ada", Token: &openapi.NewToken{Name: "desk"},
	}))
	if me := ok[*openapi.GetMeResponse](t, 200)(w.person(in.JSON201.Token.Secret).GetMeWithResponse(t.Context())); !me.JSON200.Admin {
		t.Errorf("the first admin is none: %s", me.Body)
	}
	ok[*openapi.BecomeFirstAdminResponse](t, 404)(nobody.BecomeFirstAdminWithResponse(t.Context(), openapi.FirstAdmin{Secret: secret, Name: "Eve"}))
	if again, err := w.service.FirstAdminLink(t.Context()); err != nil || again != "" {
		t.Errorf("a server that knows somebody gives the link %q, %v", again, err)
	}
}

// A request that says whose it is is taken in no other's session, by cookie or by token, and does nothing there.
func TestAnothersSession(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Fly Fishers")
	e := c.opened(c.ruleSheet())
	merle, tansy := e.join("Merle"), e.join("Tansy")
	email, password := "tansy@example.org", passphrase
	ok[*openapi.PutSignInResponse](t, 204)(tansy.PutSignInWithResponse(t.Context(), openapi.NewSignIn{Email: &email, Password: &password}))
	in := ok[*openapi.SignInResponse](t, 201)(w.person("").SignInWithResponse(t.Context(), openapi.SignIn{Email: email, Password: password}))
	session := []string{"Cookie", cookieIn(t, in.HTTPResponse.Header), "Sec-Fetch-Site", "same-origin"}
	outing, body := newID(), fmt.Sprintf(`{"water": "Upper Wend", "started_at": %q}`, w.clock().Format(time.RFC3339))
	at := fmt.Sprintf("/v1/trials/%s/outings/%s", e.trial, outing)
	put := func(p *person, whose string, more ...string) answer {
		return p.send("PUT", at, body, append(more, "Evenrig-Account", whose)...)
	}
	for what, a := range map[string]answer{
		"a cookie": put(w.person(""), me(t, merle.person).String(), session...), "a token": put(tansy.person, me(t, merle.person).String()), "no account": put(tansy.person, "Merle"),
	} {
		if a.status != 401 || a.problem(t).Code != "session.other" {
			t.Errorf("%s: %d %s", what, a.status, a.body)
		}
	}
	if list := ok[*openapi.ListOutingsResponse](t, 200)(tansy.ListOutingsWithResponse(t.Context(), e.trial, nil)); len(list.JSON200.Items) != 0 {
		t.Errorf("an outing stands that was refused: %s", list.Body)
	}
	if a := put(merle.person, strings.ToUpper(me(t, merle.person).String())); a.status != 201 {
		t.Errorf("in the account's own session: %d %s", a.status, a.body)
	}
}
