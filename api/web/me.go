package web

import (
	"cmp"
	"net/http"
	"net/url"
	"time"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// meRoutes are about the account itself.
func (s *Site) meRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/me", Signed: true, Handle: s.me},
		{Method: http.MethodGet, Path: "/me/sign-in", Signed: true, Handle: s.ownSignInPage},
		{Method: http.MethodPost, Path: "/me/sign-in", Signed: true, Handle: s.setSignIn},
		{Method: http.MethodGet, Path: "/me/erase", Signed: true, Handle: s.erasePage},
		{Method: http.MethodPost, Path: "/me/erase", Signed: true, Handle: s.eraseAccount},
		{Method: http.MethodPost, Path: "/me/sessions/:session/end", Signed: true, Handle: s.endSession},
		{Method: http.MethodGet, Path: "/me/tokens", Signed: true, Handle: s.tokensPage},
		{Method: http.MethodPost, Path: "/me/tokens", Signed: true, Handle: s.makeToken},
		{Method: http.MethodPost, Path: "/me/tokens/:token/end", Signed: true, Handle: s.endToken},
		{Method: http.MethodPost, Path: "/me/habits", Handle: s.setHabits},
	}
}

type meView struct {
	*Form
	conduct.Me
	Sessions []trial.Session
	Current  trial.ID
	Events   []trial.Event
	Books    []string
}

func (s *Site) me(v *Visit) error {
	view := meView{Current: v.Actor.SessionID, Form: newForm(url.Values{"units": {v.units().String()}, "language": {v.book.language.String()}})}
	var err error
	if view.Me, err = s.service.Me(v.Ctx(), v.Actor); err != nil {
		return err
	}
	if view.Sessions, err = s.service.Sessions(v.Ctx(), v.Actor); err != nil {
		return err
	}
	if view.Events, err = s.service.Events(v.Ctx(), v.Actor); err != nil {
		return err
	}
	for _, b := range s.books {
		view.Books = append(view.Books, b.language.String())
	}
	return v.Page("me", view)
}

// ownSignIn is the page on which somebody sets what he signs in with; New says that it is for the first time.
type ownSignIn struct {
	*Form
	New bool
}

func (s *Site) ownSignInPage(v *Visit) error {
	me, err := s.service.Me(v.Ctx(), v.Actor)
	if err != nil {
		return err
	}
	return v.Page("me-sign-in", ownSignIn{newForm(url.Values{"email": {me.Account.Email}}), me.Account.Email == ""})
}

func (s *Site) setSignIn(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	if err := s.o.Attempt(v.Ctx(), "account "+v.Actor.AccountID.String()); err != nil {
		return err
	}
	me, err := s.service.Me(v.Ctx(), v.Actor)
	if err != nil {
		return err
	}
	want := conduct.NewSignIn{Email: f.optional("email"), Password: f.optional("password"), Current: f.Get("current"), EndOthers: f.Get("others") == "yes"}
	if want.Email != nil && trial.Email(*want.Email) == me.Account.Email && want.Password != nil {
		want.Email = nil // left as it stood
	}
	if _, err := s.service.SetSignIn(v.Ctx(), v.Actor, want); err != nil {
		return v.Again("me-sign-in", f, ownSignIn{f, me.Account.Email == ""}, err)
	}
	s.o.Forget()
	secret, err := s.service.RotateSession(v.Ctx(), v.Actor)
	if err != nil {
		return err
	}
	if secret != "" {
		v.setCookie(secret)
	}
	return v.See(cmp.Or(map[bool]string{true: "/clubs"}[me.Account.Email == ""], "/me"), "sign_in_set")
}

func (s *Site) endSession(v *Visit) error {
	id, err := v.ID("session")
	if err != nil {
		return err
	}
	if err := s.service.EndSession(v.Ctx(), v.Actor, id); err != nil {
		return err
	}
	s.o.Forget()
	return v.See("/me", "session_ended")
}

type tokensView struct {
	*Form
	Tokens []trial.Token
	Made   *trial.Token // just now
	Secret string
}

func (s *Site) tokensPage(v *Visit) error {
	tokens, err := s.service.Tokens(v.Ctx(), v.Actor)
	if err != nil {
		return err
	}
	return v.Page("tokens", tokensView{Form: newForm(url.Values{"days": {"90"}, "scopes": {"read"}}), Tokens: tokens})
}

func (s *Site) makeToken(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	want := trial.Token{Name: f.Get("name")}
	view := tokensView{Form: f}
	days, err := f.whole("days")
	if err == nil {
		end := s.service.Now().Add(time.Duration(days) * 24 * time.Hour)
		want.ExpiresAt = &end
		var made trial.Token
		if made, view.Secret, err = s.service.CreateToken(v.Ctx(), v.Actor, want, f.Values["scopes"]); err == nil {
			view.Made = &made
		}
	}
	tokens, listErr := s.service.Tokens(v.Ctx(), v.Actor)
	if listErr != nil {
		return listErr
	}
	view.Tokens = tokens
	if err != nil {
		return v.Again("tokens", f, view, err)
	}
	// Shown here and now, because it is told this once.
	return v.Page("tokens", view)
}

func (s *Site) endToken(v *Visit) error {
	id, err := v.ID("token")
	if err != nil {
		return err
	}
	if err := s.service.RevokeToken(v.Ctx(), v.Actor, id); err != nil {
		return err
	}
	s.o.Forget()
	return v.See("/me/tokens", "token_ended")
}

// Units are those in which this device shows lengths and temperatures; records keep what was typed.
type Units struct{ Length, Temperature string }

// String writes the units as their cookie keeps them.
func (u Units) String() string { return u.Length + "-" + u.Temperature }

const unitsCookie = "evenrig-units"

// The choices of units.
var (
	metric   = Units{"cm", "C"}
	imperial = Units{"in", "F"}
	mixed    = Units{"in", "C"}
)

// units are those that were chosen on this device.
func (v *Visit) units() Units {
	if c, err := v.Cookie(unitsCookie); err == nil {
		for _, u := range []Units{imperial, mixed} {
			if c.Value == u.String() {
				return u
			}
		}
	}
	return metric
}

// setHabits keeps units and language for this device. They are no secret, so that the page at the water reads them too.
func (s *Site) setHabits(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	chosen := map[string]string{}
	for _, u := range []Units{metric, imperial, mixed} {
		if f.Get("units") == u.String() {
			chosen[unitsCookie] = u.String()
		}
	}
	for _, b := range s.books {
		if f.Get("language") == b.language.String() {
			chosen[languageCookie] = b.language.String()
		}
	}
	for name, value := range chosen {
		c := http.Cookie{Name: name, Value: value, Path: "/", MaxAge: 365 * 24 * 3600, SameSite: http.SameSiteLaxMode}
		v.Response().Header().Add("Set-Cookie", c.String())
	}
	return v.See("/me", "habits_set")
}

// eraseView is the page on which somebody has the account erased. Clubs are those to leave first; Password says that one is asked for.
type eraseView struct {
	*Form
	Clubs    []conduct.MyClub
	Password bool
}

func (s *Site) eraseView(v *Visit, f *Form) (view eraseView, err error) {
	view.Form = f
	me, err := s.service.Me(v.Ctx(), v.Actor)
	if err != nil {
		return view, err
	}
	view.Password = me.Account.Email != ""
	view.Clubs, err = s.service.Clubs(v.Ctx(), v.Actor)
	return view, err
}

func (s *Site) erasePage(v *Visit) error {
	view, err := s.eraseView(v, newForm(url.Values{}))
	if err != nil {
		return err
	}
	return v.Page("erase", view)
}

func (s *Site) eraseAccount(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.eraseView(v, f)
	if err != nil {
		return err
	}
	if f.Get("sure") != "yes" {
		var faults trial.Faults
		faults.Add("sure", "%s", v.T("own.erase_unsure"))
		return v.Again("erase", f, view, faults.Err("account.unsure", v.T("own.erase_nothing_done")))
	}
	if err := s.o.Attempt(v.Ctx(), "account "+v.Actor.AccountID.String()); err != nil {
		return err
	}
	if err := s.service.EraseAccount(v.Ctx(), v.Actor, f.Get("current"), f.Get("keep_records") == "yes"); err != nil {
		return v.Again("erase", f, view, err)
	}
	s.o.Forget()
	v.setCookie("")
	return v.See("/", "account_erased")
}
