package api

import (
	"context"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// SignIn answers a cookie or a token for an e-mail address and its password.
func (h *handlers) SignIn(ctx context.Context, r openapi.SignInRequestObject) (openapi.SignInResponseObject, error) {
	if err := h.attempt(ctx, "email "+trial.Email(r.Body.Email)); err != nil {
		return nil, err
	}
	in, err := h.service.SignIn(ctx, r.Body.Email, r.Body.Password, wantedTo(r.Body.Token))
	if err != nil {
		return nil, err
	}
	return openapi.SignIn201JSONResponse{Body: signedInFrom(in), Headers: openapi.SignIn201ResponseHeaders{SetCookie: cookieFrom(in)}}, nil
}

// UseReset uses a reset link up.
func (h *handlers) UseReset(ctx context.Context, r openapi.UseResetRequestObject) (openapi.UseResetResponseObject, error) {
	if err := h.attempt(ctx, ""); err != nil {
		return nil, err
	}
	in, err := h.service.UseReset(ctx, conduct.Reset{Secret: r.Body.Secret, Email: r.Body.Email, Password: r.Body.Password, Want: wantedTo(r.Body.Token)})
	if err != nil {
		return nil, err
	}
	h.forget()
	return openapi.UseReset201JSONResponse{Body: signedInFrom(in), Headers: openapi.UseReset201ResponseHeaders{SetCookie: cookieFrom(in)}}, nil
}

// BecomeFirstAdmin makes the first admin of a new server.
func (h *handlers) BecomeFirstAdmin(ctx context.Context, r openapi.BecomeFirstAdminRequestObject) (openapi.BecomeFirstAdminResponseObject, error) {
	if err := h.attempt(ctx, ""); err != nil {
		return nil, err
	}
	in, err := h.service.BecomeFirstAdmin(ctx, conduct.NewAdmin{
		Secret: r.Body.Secret, Name: r.Body.Name, Email: r.Body.Email, Password: r.Body.Password, Want: wantedTo(r.Body.Token),
	})
	if err != nil {
		return nil, err
	}
	return openapi.BecomeFirstAdmin201JSONResponse{Body: signedInFrom(in), Headers: openapi.BecomeFirstAdmin201ResponseHeaders{SetCookie: cookieFrom(in)}}, nil
}

// PutSignIn sets what the actor signs in with.
func (h *handlers) PutSignIn(ctx context.Context, r openapi.PutSignInRequestObject) (openapi.PutSignInResponseObject, error) {
	actor := actorOf(ctx)
	if err := h.attempt(ctx, "account "+actor.AccountID.String()); err != nil {
		return nil, err
	}
	_, err := h.service.SetSignIn(ctx, actor, conduct.NewSignIn{
		Email: r.Body.Email, Password: r.Body.Password, Current: or(r.Body.CurrentPassword, ""), EndOthers: or(r.Body.EndOthers, false),
	})
	if err != nil {
		return nil, err
	}
	cookie, err := h.rotate(ctx)
	return openapi.PutSignIn204Response{Headers: openapi.PutSignIn204ResponseHeaders{SetCookie: cookie}}, err
}

// SignOut ends the actor's session or token, or all of them.
func (h *handlers) SignOut(ctx context.Context, r openapi.SignOutRequestObject) (openapi.SignOutResponseObject, error) {
	actor := actorOf(ctx)
	if err := h.service.SignOut(ctx, actor, or(r.Body.Everywhere, false)); err != nil {
		return nil, err
	}
	h.forget()
	answer := openapi.SignOut204Response{}
	if !actor.SessionID.IsZero() {
		answer.Headers.SetCookie = sessionCookie("")
	}
	return answer, nil
}

// EraseAccount removes the actor's account.
func (h *handlers) EraseAccount(ctx context.Context, r openapi.EraseAccountRequestObject) (openapi.EraseAccountResponseObject, error) {
	actor := actorOf(ctx)
	if err := h.attempt(ctx, "account "+actor.AccountID.String()); err != nil {
		return nil, err
	}
	if err := h.service.EraseAccount(ctx, actor, or(r.Body.CurrentPassword, ""), r.Body.KeepRecords); err != nil {
		return nil, err
	}
	h.forget()
	answer := openapi.EraseAccount204Response{}
	if !actor.SessionID.IsZero() {
		answer.Headers.SetCookie = sessionCookie("")
	}
	return answer, nil
}

// rotate gives a session another cookie after what it may do has changed, nil for a token.
func (h *handlers) rotate(ctx context.Context) (*string, error) {
	h.forget()
	secret, err := h.service.RotateSession(ctx, actorOf(ctx))
	if err != nil || secret == "" {
		return nil, err
	}
	return sessionCookie(secret), nil
}

// ListSessions lists the actor's sessions.
func (h *handlers) ListSessions(ctx context.Context, _ openapi.ListSessionsRequestObject) (openapi.ListSessionsResponseObject, error) {
	actor := actorOf(ctx)
	sessions, err := h.service.Sessions(ctx, actor)
	if err != nil {
		return nil, err
	}
	return openapi.ListSessions200JSONResponse{Items: each(sessions, func(s trial.Session) openapi.Session {
		return sessionFrom(s, s.ID == actor.SessionID)
	})}, nil
}

// EndSession ends one of the actor's sessions.
func (h *handlers) EndSession(ctx context.Context, r openapi.EndSessionRequestObject) (openapi.EndSessionResponseObject, error) {
	if err := h.service.EndSession(ctx, actorOf(ctx), trial.ID(r.Session)); err != nil {
		return nil, err
	}
	h.forget()
	return openapi.EndSession204Response{}, nil
}

// ListEvents lists what happened to the actor's account.
func (h *handlers) ListEvents(ctx context.Context, _ openapi.ListEventsRequestObject) (openapi.ListEventsResponseObject, error) {
	events, err := h.service.Events(ctx, actorOf(ctx))
	if err != nil {
		return nil, err
	}
	return openapi.ListEvents200JSONResponse{Items: each(events, eventFrom)}, nil
}

// MakeReset hands out a reset link for any account.
func (h *handlers) MakeReset(ctx context.Context, r openapi.MakeResetRequestObject) (openapi.MakeResetResponseObject, error) {
	var account trial.ID
	if r.Body.Account != nil {
		account = trial.ID(*r.Body.Account)
	}
	link, secret, err := h.service.MakeReset(ctx, actorOf(ctx), account, or(r.Body.Email, ""))
	if err != nil {
		return nil, err
	}
	return openapi.MakeReset201JSONResponse(h.resetFrom(link, secret)), nil
}

// MakeMemberReset hands out a reset link for an angler of a club.
func (h *handlers) MakeMemberReset(ctx context.Context, r openapi.MakeMemberResetRequestObject) (openapi.MakeMemberResetResponseObject, error) {
	link, secret, err := h.service.MakeMemberReset(ctx, actorOf(ctx), trial.ID(r.Club), trial.ID(r.Account))
	if err != nil {
		return nil, err
	}
	return openapi.MakeMemberReset201JSONResponse(h.resetFrom(link, secret)), nil
}

func (h *handlers) resetFrom(l trial.Link, secret string) openapi.ResetLink {
	return openapi.ResetLink{Secret: secret, Link: h.link("reset", secret), ExpiresAt: l.ExpiresAt}
}

// link is the address of a page that takes a secret. The secret stands behind #, which a browser sends to nobody.
func (h *handlers) link(page, secret string) string { return PageLink(h.publicURL, page, secret) }

// PageLink is the address of the page under a public address ("" for one relative to the server) that takes a secret.
func PageLink(publicURL, page, secret string) string { return publicURL + "/" + page + "#" + secret }

func wantedTo(token *openapi.NewToken) conduct.Wanted {
	if token == nil {
		return conduct.Wanted{}
	}
	return conduct.Wanted{Token: &trial.Token{Name: token.Name, ExpiresAt: token.ExpiresAt}, TokenUses: or(token.Scopes, nil)}
}

func signedInFrom(in conduct.SignedIn) openapi.SignedIn {
	out := openapi.SignedIn{Account: openapi_types.UUID(in.Account.ID), Name: in.Account.Name}
	if in.Session != nil {
		s := sessionFrom(*in.Session, true)
		out.Session = &s
	}
	if in.Token != nil {
		t := tokenSecretFrom(*in.Token, in.Secret)
		out.Token = &t
	}
	return out
}

// cookieFrom is the cookie of a new session, nil for a token.
func cookieFrom(in conduct.SignedIn) *string {
	if in.Session == nil {
		return nil
	}
	return sessionCookie(in.Secret)
}

func sessionFrom(s trial.Session, current bool) openapi.Session {
	return openapi.Session{ID: openapi_types.UUID(s.ID), CreatedAt: s.CreatedAt, UsedAt: s.UsedAt, ExpiresAt: s.ExpiresAt(), Current: current}
}

func eventFrom(e trial.Event) openapi.Event {
	return openapi.Event{Account: openapi_types.UUID(e.AccountID), Kind: openapi.EventKind(e.Kind), By: idOrNil(e.By), Club: idOrNil(e.ClubID), At: e.At}
}

func scopesFrom(s trial.Scopes) []openapi.Scope {
	return each(s.Names(), func(name string) openapi.Scope { return openapi.Scope(name) })
}

func tokenSecretFrom(t trial.Token, secret string) openapi.TokenSecret {
	return openapi.TokenSecret{ID: openapi_types.UUID(t.ID), Name: t.Name, Scopes: scopesFrom(t.Scopes), CreatedAt: t.CreatedAt, ExpiresAt: t.ExpiresAt, Secret: secret}
}
