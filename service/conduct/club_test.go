package conduct_test

import (
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

// A token lets in until it is revoked, by who holds its secret; of the secret only a hash is kept; nobody revokes
// another's.
func TestTokens(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	admin := w.newAdmin("admin")
	if !admin.Admin {
		t.Error("the first admin is none")
	}
	other := w.newAdmin("another")
	token, secret, err := w.s.CreateToken(w.ctx, admin, trial.Token{Name: "phone"}, nil)
	w.ok(err)
	if got := must(w.s.Authenticate(w.ctx, secret))(t); got.AccountID != admin.AccountID || !got.Admin || got.TokenID != token.ID {
		t.Errorf("the token is %+v's, want %+v", got, admin)
	}
	if _, again, err := w.s.CreateToken(w.ctx, admin, trial.Token{Name: "phone"}, nil); err != nil || again == secret || len(secret) < 43 {
		t.Errorf("two secrets %q, %q (%v)", secret, again, err)
	}
	for _, bad := range []string{"", "rig_", secret[1:], secret + "A", strings.ToUpper(secret), token.Hash.String(), "rig_" + token.Hash.String()} {
		_, err := w.s.Authenticate(w.ctx, bad)
		wantKind(t, err, trial.Unauthenticated, "token.invalid")
	}
	if err := w.s.RevokeToken(w.ctx, other, token.ID); err != nil && trial.KindOf(err) != trial.NotFound {
		t.Error(err)
	}
	must(w.s.Authenticate(w.ctx, secret))(t)
	w.ok(w.s.RevokeToken(w.ctx, admin, token.ID))
	_, err = w.s.Authenticate(w.ctx, secret)
	wantKind(t, err, trial.Unauthenticated, "token.invalid")
	if list := must(w.s.Tokens(w.ctx, admin))(t); len(list) != 2 {
		t.Errorf("tokens %+v", list)
	}
	_, _, err = w.s.CreateToken(w.ctx, admin, trial.Token{}, nil)
	wantFields(t, err, "name")
	_, err = w.s.FirstAdmin(w.ctx, "\x00")
	wantFields(t, err, "name")
}

// An invitation admits as many as it says, once each, in its role, until it is used up, revoked or 14 days old; an
// unknown one and one that no longer holds answer alike.
func TestInvitationsAdmit(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c := w.newClub("Wend Grayling Club", 1)
	accept := func(secret, name string) error {
		_, err := w.s.AcceptInvitation(w.ctx, nil, secret, name, false)
		return err
	}
	i, secret, err := w.s.Invite(w.ctx, c.organiser, c.id, trial.Angler, 2, "")
	w.ok(err)
	_, err = w.s.AcceptInvitation(w.ctx, nil, secret, "", false)
	wantFields(t, err, "name")
	w.ok(accept(secret, "Ada"))
	// Who is a member already does not use it up.
	if _, err := w.s.AcceptInvitation(w.ctx, &c.anglers[0], secret, "", false); trial.KindOf(err) != trial.Conflict {
		t.Errorf("a member again: %v", err)
	}
	w.ok(accept(secret, "Ben"))
	used, unknown := accept(secret, "Cay"), accept("join_nothing", "Cay")
	wantKind(t, used, trial.NotFound, "not_found")
	if unknown == nil || used == nil || used.Error() != unknown.Error() {
		t.Errorf("used up: %v; unknown: %v", used, unknown)
	}
	if list := must(w.s.Invitations(w.ctx, c.organiser, c.id))(t); len(list) < 1 {
		t.Errorf("invitations %+v", list)
	}
	_, secret, err = w.s.Invite(w.ctx, c.organiser, c.id, trial.Angler, 5, "")
	w.ok(err)
	w.clock.move(14*24*time.Hour - time.Second)
	w.ok(accept(secret, "Dee"))
	w.clock.move(time.Second)
	wantKind(t, accept(secret, "Eli"), trial.NotFound, "not_found")
	i, secret, err = w.s.Invite(w.ctx, c.organiser, c.id, trial.Auditor, 1, "")
	w.ok(err)
	w.ok(w.s.RevokeInvitation(w.ctx, c.organiser, c.id, i.ID))
	wantKind(t, accept(secret, "Fay"), trial.NotFound, "not_found")
	_, _, err = w.s.Invite(w.ctx, c.organiser, c.id, trial.Organiser, 2, "")
	wantFields(t, err, "uses")
	members := must(w.s.Members(w.ctx, c.eyes, c.id, everything))(t)
	names := ""
	for _, m := range members {
		names += m.Name + ","
	}
	// Founder, organiser, auditor, one angler, Ada, Ben, Dee.
	if len(members) != 7 || !strings.Contains(names, "Ada") || strings.Contains(names, "Cay") {
		t.Errorf("members %s", names)
	}
	// An existing account joins another club with its own token.
	d := w.newClub("Mill Reach Anglers", 0)
	_, secret, err = w.s.Invite(w.ctx, d.organiser, d.id, trial.Angler, 1, "")
	w.ok(err)
	joined := must(w.s.AcceptInvitation(w.ctx, &c.anglers[0], secret, "", false))(t)
	if joined.Secret != "" || joined.Account.ID != c.anglers[0].AccountID || joined.Role != trial.Angler {
		t.Errorf("joined %+v", joined)
	}
	if me := must(w.s.Me(w.ctx, c.anglers[0]))(t); len(me.Clubs) != 2 || me.Account.Name != "angler 1 of Wend Grayling Club" {
		t.Errorf("me: %+v", me)
	}
	_, err = w.s.CreateClub(w.ctx, c.organiser, "A club of my own")
	wantKind(t, err, trial.Forbidden, "forbidden")
	_, err = w.s.CreateClub(w.ctx, c.founder, "")
	wantFields(t, err, "name")
}

// A draft may have faults, registering names them all at once; a registered protocol never changes; two who write the
// same draft do not overwrite each other.
func TestProtocolFromDraftToRegistered(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c := w.newClub("Wend Grayling Club", 0)
	p := trial.Template()
	p.Alpha = 7
	view := must(w.s.CreateTrial(w.ctx, c.organiser, c.id, p))(t)
	id := view.Trial.ID
	_, err := w.s.MoveTrial(w.ctx, c.organiser, id, trial.Registered, "")
	wantFields(t, err, "title", "question", "feature_changed", "patterns", "patterns[0].code", "patterns[0].name", "patterns[1].code", "patterns[1].name",
		"species", "waters", "season_start", "season_end", "rig.tippet_mm", "rig.hook_model", "rig.hook_size", "alpha")
	if got := must(w.s.Trial(w.ctx, c.organiser, id))(t); got.Trial.State != trial.Draft || len(got.History) != 0 || !got.Trial.Commitment.IsZero() {
		t.Errorf("after a refusal: %+v", got)
	}
	written := must(w.s.WriteProtocol(w.ctx, c.organiser, id, 1, ruleSheet()))(t)
	_, err = w.s.WriteProtocol(w.ctx, c.organiser, id, 1, ruleSheet())
	wantKind(t, err, trial.Stale, "version.stale")
	if read := must(w.s.Protocol(w.ctx, c.eyes, id))(t); written.Revision != 2 || read.Revision != 2 || read.Fingerprint != written.Fingerprint || read.Protocol.Title != ruleSheet().Title {
		t.Errorf("written %+v, read %+v", written, read)
	}
	must(w.s.MoveTrial(w.ctx, c.organiser, id, trial.Registered, ""))(t)
	_, err = w.s.WriteProtocol(w.ctx, c.organiser, id, 2, ruleSheet())
	wantKind(t, err, trial.Conflict, "trial.state")
	_, err = w.s.MoveTrial(w.ctx, c.organiser, id, trial.Abandoned, "dull")
	wantFields(t, err, "reason")
	must(w.s.MoveTrial(w.ctx, c.organiser, id, trial.Abandoned, "the river is in flood"))(t)
	got := must(w.s.Trial(w.ctx, c.eyes, id))(t)
	if len(got.History) != 2 || got.History[1].Reason != "the river is in flood" || got.History[1].From != trial.Registered || got.History[1].By != c.organiser.AccountID {
		t.Errorf("history %+v", got.History)
	}
	if list := must(w.s.Trials(w.ctx, c.eyes, c.id, everything))(t); len(list) != 1 || list[0].State != trial.Abandoned {
		t.Errorf("abandoned trials stay listed: %+v", list)
	}
	dull := must(w.s.CreateTrial(w.ctx, c.organiser, c.id, trial.Template()))(t)
	must(w.s.MoveTrial(w.ctx, c.organiser, dull.Trial.ID, trial.Abandoned, "never begun"))(t)
	p = ruleSheet()
	p.Design = "alternating"
	_, err = w.s.CreateTrial(w.ctx, c.organiser, c.id, p)
	wantFields(t, err, "design")
}

// With fewer than three active anglers everybody can work out the others' catches; the view says how many there are.
func TestActiveAnglers(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 3).opened(ruleSheet())
	for i, a := range e.anglers {
		e.join(a)
		if got := must(w.s.Trial(w.ctx, a, e.trial))(t).ActiveAnglers; got != i+1 {
			t.Errorf("%d active anglers, want %d", got, i+1)
		}
	}
	w.ok(w.s.Withdraw(w.ctx, e.anglers[0], e.trial, false))
	w.ok(w.s.Withdraw(w.ctx, e.anglers[1], e.trial, true))
	if got := must(w.s.Trial(w.ctx, e.eyes, e.trial))(t).ActiveAnglers; got != 1 {
		t.Errorf("%d active anglers after two left", got)
	}
}
