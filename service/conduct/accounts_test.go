package conduct_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

const passphrase = "tidal pliers under moss"

func (w *world) setSignIn(who trial.Actor, email, password string) {
	w.t.Helper()
	_, err := w.s.SetSignIn(w.ctx, who, conduct.NewSignIn{Email: &email, Password: &password})
	w.ok(err)
}

func (w *world) session(email, password string) trial.Actor {
	w.t.Helper()
	in := must(w.s.SignIn(w.ctx, email, password, conduct.Wanted{}))(w.t)
	return must(w.s.AuthenticateSession(w.ctx, in.Secret))(w.t)
}

// Whoever tries an address that nobody has, one without a password, or a wrong password, is told the same; NFC and NFD of
// one password are one (Unicode Standard Annex 15).
func TestSignInTellsNothing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c := w.newClub("Wend Grayling Club", 2)
	w.setSignIn(c.anglers[0], "ida@example.org", "sixte\u0301 pliers under moss")
	email := "bert@example.org"
	_, err := w.s.SetSignIn(w.ctx, c.anglers[1], conduct.NewSignIn{Email: &email})
	w.ok(err)
	must(w.s.SignIn(w.ctx, " IDA@example.org", "sixt\u00e9 pliers under moss", conduct.Wanted{}))(t)
	var said []string
	for _, try := range [][2]string{{"ida@example.org", "wrong"}, {"bert@example.org", ""}, {"bert@example.org", passphrase}, {"none@example.org", passphrase}, {"", ""}} {
		in, err := w.s.SignIn(w.ctx, try[0], try[1], conduct.Wanted{})
		wantKind(t, err, trial.Unauthenticated, "sign_in.refused")
		if in != (conduct.SignedIn{}) {
			t.Errorf("%q got %+v", try, in)
		}
		said = append(said, told(err))
	}
	for _, s := range said {
		if s != said[0] {
			t.Errorf("%q and %q", s, said[0])
		}
	}
	_, err = w.s.SetSignIn(w.ctx, c.anglers[1], conduct.NewSignIn{Email: ptrTo("Ida@example.org")})
	wantKind(t, err, trial.Conflict, "email.taken")
	for _, weak := range []string{"short", strings.Repeat("a", 20), "bert@example.orgpassword", strings.Repeat("ä", 129), "tidal pliers\x00 under moss"} {
		_, err = w.s.SetSignIn(w.ctx, c.anglers[1], conduct.NewSignIn{Email: &email, Password: &weak})
		wantFields(t, err, "password")
		if err != nil && strings.Contains(err.Error(), weak) {
			t.Errorf("the fault repeats the password: %v", err)
		}
	}
}

func ptrTo[T any](v T) *T { return &v }

// A session ends after 30 days without use, in 180 days in any case, and by signing out; a fortnight without signal does
// not end it. Changing a password needs the one that holds.
func TestSessions(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ida := w.newClub("Wend Grayling Club", 1).anglers[0]
	w.setSignIn(ida, "ida@example.org", passphrase)
	const day = 24 * time.Hour
	in := must(w.s.SignIn(w.ctx, "ida@example.org", passphrase, conduct.Wanted{}))(t)
	for range 12 { // a fortnight each
		w.clock.move(14 * day)
		must(w.s.AuthenticateSession(w.ctx, in.Secret))(t)
	}
	w.clock.move(12 * day)
	_, err := w.s.AuthenticateSession(w.ctx, in.Secret)
	wantKind(t, err, trial.Unauthenticated, "session.ended")
	in = must(w.s.SignIn(w.ctx, "ida@example.org", passphrase, conduct.Wanted{}))(t)
	w.clock.move(30 * day)
	_, err = w.s.AuthenticateSession(w.ctx, in.Secret)
	wantKind(t, err, trial.Unauthenticated, "session.ended")

	a, b := w.session("ida@example.org", passphrase), w.session("ida@example.org", passphrase)
	_, err = w.s.SetSignIn(w.ctx, a, conduct.NewSignIn{Password: ptrTo("seven slow herons wading")})
	wantKind(t, err, trial.Forbidden, "password.wrong")
	_, err = w.s.SetSignIn(w.ctx, a, conduct.NewSignIn{Password: ptrTo("seven slow herons wading"), Current: passphrase, EndOthers: true})
	w.ok(err)
	if list := must(w.s.Sessions(w.ctx, a))(t); len(list) != 1 || list[0].ID != a.SessionID {
		t.Errorf("sessions %+v, want the one that asked", list)
	}
	if list := must(w.s.Tokens(w.ctx, a))(t); len(list) != 0 {
		t.Errorf("tokens %+v are left", list)
	}
	secret := must(w.s.RotateSession(w.ctx, a))(t)
	must(w.s.AuthenticateSession(w.ctx, secret))(t)
	for _, other := range []string{"", "ses_", in.Secret, strings.Replace(secret, "ses_", "rig_", 1)} {
		_, err = w.s.AuthenticateSession(w.ctx, other)
		wantKind(t, err, trial.Unauthenticated, "session.ended")
	}
	_, err = w.s.Authenticate(w.ctx, secret)
	wantKind(t, err, trial.Unauthenticated, "token.invalid")
	w.ok(w.s.SignOut(w.ctx, a, true))
	_, err = w.s.AuthenticateSession(w.ctx, secret)
	wantKind(t, err, trial.Unauthenticated, "session.ended")
	for range trial.SessionsMost + 3 {
		b = w.session("ida@example.org", "seven slow herons wading")
	}
	if list := must(w.s.Sessions(w.ctx, b))(t); len(list) != trial.SessionsMost {
		t.Errorf("%d sessions, want %d at most", len(list), trial.SessionsMost)
	}
}

// A token can do no more and lasts no longer than what made it; its use is noted once an hour.
func TestTokensOfTokens(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ida := w.newClub("Wend Grayling Club", 1).anglers[0]
	end := w.clock.read().Add(48 * time.Hour)
	_, secret, err := w.s.CreateToken(w.ctx, ida, trial.Token{Name: "script", ExpiresAt: &end}, []string{"account", "read"})
	w.ok(err)
	script := must(w.s.Authenticate(w.ctx, secret))(t)
	for _, more := range [][]string{{"organise"}, {"read", "log"}, {"everything"}} {
		_, _, err = w.s.CreateToken(w.ctx, script, trial.Token{Name: "more"}, more)
		wantFields(t, err, "scopes")
	}
	child, _, err := w.s.CreateToken(w.ctx, script, trial.Token{Name: "child"}, nil)
	w.ok(err)
	if child.Scopes != trial.ScopeAccount|trial.ScopeRead || !child.ExpiresAt.Equal(end) {
		t.Errorf("the child has %v until %v", child.Scopes.Names(), child.ExpiresAt)
	}
	for _, bad := range []time.Time{w.clock.read(), w.clock.read().Add(trial.TokenLife + time.Second)} {
		_, _, err = w.s.CreateToken(w.ctx, ida, trial.Token{Name: "x", ExpiresAt: &bad}, nil)
		wantFields(t, err, "expires_at")
	}
	used := func() time.Time {
		for _, tok := range must(w.s.Tokens(w.ctx, ida))(t) {
			if tok.ID == script.TokenID {
				return *tok.LastUsedAt
			}
		}
		return time.Time{}
	}
	first := used()
	w.clock.move(59 * time.Minute)
	must(w.s.Authenticate(w.ctx, secret))(t)
	if !used().Equal(first) {
		t.Error("the use was noted twice within an hour")
	}
	w.clock.move(time.Minute)
	must(w.s.Authenticate(w.ctx, secret))(t)
	if used().Equal(first) {
		t.Error("the use was not noted after an hour")
	}
	w.clock.move(48 * time.Hour)
	_, err = w.s.Authenticate(w.ctx, secret)
	wantKind(t, err, trial.Unauthenticated, "token.invalid")
}

// An organiser hands reset links out for plain anglers of the club alone; a link holds an hour, once, ends everything and
// is told of; it is none any more when the angler has become more or the organiser less meanwhile.
func TestResets(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c := w.newClub("Wend Grayling Club", 4)
	d := w.newClub("Mill Reach Anglers", 0)
	both := c.anglers[3]
	_, join, err := w.s.Invite(w.ctx, d.organiser, d.id, trial.Angler, 1, "")
	w.ok(err)
	must(w.s.AcceptInvitation(w.ctx, &both, join, "", false))(t)
	for what, who := range map[string]trial.Actor{"admin": c.founder, "auditor": c.eyes, "organiser": c.organiser, "member of two clubs": both} {
		_, _, err := w.s.MakeMemberReset(w.ctx, c.organiser, c.id, who.AccountID)
		if trial.KindOf(err) != trial.Forbidden {
			t.Errorf("a link for the %s: %v", what, err)
		}
	}
	ida := c.anglers[0]
	w.setSignIn(ida, "ida@example.org", passphrase)
	use := func(secret string) error {
		_, err := w.s.UseReset(w.ctx, conduct.Reset{Secret: secret, Password: ptrTo("seven slow herons wading")})
		return err
	}
	link := func() string {
		_, secret, err := w.s.MakeMemberReset(w.ctx, c.organiser, c.id, ida.AccountID)
		w.ok(err)
		return secret
	}
	replaced, good := link(), link()
	wantKind(t, use(replaced), trial.NotFound, "not_found")
	_, err = w.s.UseReset(w.ctx, conduct.Reset{Secret: good, Password: ptrTo("short")})
	wantFields(t, err, "password") // and uses nothing up
	results := make(chan error)
	for range 4 {
		go func() { results <- use(good) }()
	}
	worked := 0
	for range 4 {
		if err := <-results; err == nil {
			worked++
		}
	}
	if worked != 1 {
		t.Errorf("the link worked %d times", worked)
	}
	if _, err := w.s.SignIn(w.ctx, "ida@example.org", passphrase, conduct.Wanted{}); err == nil {
		t.Error("the old password still lets in")
	}
	ida = w.session("ida@example.org", "seven slow herons wading")
	if list := must(w.s.Tokens(w.ctx, ida))(t); len(list) != 0 {
		t.Errorf("tokens %+v are left", list)
	}
	kinds := map[trial.EventKind]int{}
	for _, e := range must(w.s.Events(w.ctx, ida))(t) {
		kinds[e.Kind]++
		if e.Kind == trial.ResetUsed && (e.By != c.organiser.AccountID || e.ClubID != c.id) {
			t.Errorf("the member is told %+v", e)
		}
	}
	if kinds[trial.ResetMade] != 2 || kinds[trial.ResetUsed] != 1 {
		t.Errorf("the member is told of %v", kinds)
	}
	late := link()
	w.clock.move(time.Hour)
	wantKind(t, use(late), trial.NotFound, "not_found")
	raised := link()
	w.ok(w.store.InTx(w.ctx, func(ctx context.Context, tx trial.Tx) error {
		return tx.SetRole(ctx, c.id, ida.AccountID, trial.Auditor)
	}))
	wantKind(t, use(raised), trial.NotFound, "not_found")
	w.ok(w.store.InTx(w.ctx, func(ctx context.Context, tx trial.Tx) error {
		return tx.SetRole(ctx, c.id, ida.AccountID, trial.Angler)
	}))
	lowered := link()
	w.ok(w.s.RemoveMember(w.ctx, c.founder, c.id, c.organiser.AccountID))
	wantKind(t, use(lowered), trial.NotFound, "not_found")
	_, _, err = w.s.MakeReset(w.ctx, c.founder, ida.AccountID, "ida@example.org")
	wantFields(t, err, "account")
	_, admins, err := w.s.MakeReset(w.ctx, c.founder, ida.AccountID, "")
	w.ok(err)
	w.ok(use(admins))
	_, _, err = w.s.MakeReset(w.ctx, ida, c.founder.AccountID, "")
	wantKind(t, err, trial.Forbidden, "forbidden")
}

// The role goes over by two confirmations within 14 days; a club keeps an organiser, also when two leave at once.
func TestHandover(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c := w.newClub("Wend Grayling Club", 2)
	role := func(who trial.Actor) trial.Role {
		return must(w.s.Club(w.ctx, who, c.id))(t).Role
	}
	h := must(w.s.OfferRole(w.ctx, c.organiser, c.id, c.anglers[0].AccountID))(t)
	wantKind(t, w.s.TakeRole(w.ctx, c.anglers[1], c.id, h.ID), trial.NotFound, "not_found")
	wantKind(t, w.s.TakeRole(w.ctx, c.organiser, c.id, h.ID), trial.Forbidden, "forbidden")
	w.clock.move(14 * 24 * time.Hour)
	wantKind(t, w.s.TakeRole(w.ctx, c.anglers[0], c.id, h.ID), trial.Conflict, "handover.ended")
	h = must(w.s.OfferRole(w.ctx, c.organiser, c.id, c.anglers[0].AccountID))(t)
	w.ok(w.s.TakeRole(w.ctx, c.anglers[0], c.id, h.ID))
	if role(c.anglers[0]) != trial.Organiser || role(c.organiser) != trial.Angler {
		t.Errorf("after the handover: %s and %s", role(c.anglers[0]), role(c.organiser))
	}
	wantKind(t, w.s.TakeRole(w.ctx, c.anglers[0], c.id, h.ID), trial.Forbidden, "forbidden")
	left := make(chan error)
	for _, who := range []trial.Actor{c.founder, c.anglers[0]} {
		go func() { left <- w.s.RemoveMember(w.ctx, who, c.id, who.AccountID) }()
	}
	a, b := <-left, <-left
	if (a == nil) == (b == nil) {
		t.Errorf("two last organisers left at once: %v, %v", a, b)
	}
	if a == nil {
		a = b
	}
	wantKind(t, a, trial.Conflict, "club.last_organiser")
}

// Who is removed has left the trial, with his records: what he noted before is taken when it arrives, what he notes after
// is not, nothing else of the club is there for him, and he may have all erased.
func TestRemovedMember(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	first := r.land(period, "C")
	queued := r.fish(period, "N")
	w.clock.move(time.Minute)
	w.ok(w.s.RemoveMember(w.ctx, e.organiser, e.id, r.actor.AccountID))
	w.clock.move(time.Minute)
	must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, queued))(t)
	_, err := w.s.SubmitCatch(w.ctx, r.actor, e.trial, r.fish(period, "N"))
	wantKind(t, err, trial.Conflict, "enrolment.left")
	must(w.s.Catch(w.ctx, r.actor, e.trial, first.ID))(t)
	for what, err := range map[string]error{
		"the club": second(w.s.Club(w.ctx, r.actor, e.id)), "the trial": second(w.s.Trial(w.ctx, r.actor, e.trial)),
		"progress": second(w.s.Progress(w.ctx, r.actor, e.trial)), "members": second(w.s.Members(w.ctx, r.actor, e.id, everything)),
		"joining": second(w.s.Enrol(w.ctx, r.actor, e.trial, trial.Enrolment{ID: w.randomID(), Code: [32]byte{1}, Consent: allTicks})),
	} {
		if trial.KindOf(err) != trial.NotFound {
			t.Errorf("%s: %v", what, err)
		}
	}
	if list := must(w.s.Enrolments(w.ctx, e.organiser, e.trial))(t); list[0].LeftAt == nil || list[0].ErasedAt != nil {
		t.Errorf("the enrolment is %+v", list[0])
	}
	if checked := must(w.s.Check(w.ctx))(t); len(checked.Faults) > 0 {
		t.Errorf("check: %v", checked.Faults)
	}
	w.ok(w.s.Withdraw(w.ctx, r.actor, e.trial, true))
	_, join, err := w.s.Invite(w.ctx, e.organiser, e.id, trial.Angler, 1, "")
	w.ok(err)
	must(w.s.AcceptInvitation(w.ctx, &r.actor, join, "", false))(t)
	must(w.s.Club(w.ctx, r.actor, e.id))(t)
}

func second[T any](_ T, err error) error { return err }
