package trial_test

import (
	"testing"

	"evenrig/service/trial"
)

// Who may keep records for an angler: whom the angler allowed, and for a guest who brought the guest. Nobody for one whose records
// were erased.
func TestWhoMayNote(t *testing.T) {
	own, friend, guide, stranger := madeUp(1), madeUp(2), madeUp(3), madeUp(4)
	id := madeUp(9)
	angler := trial.Enrolment{ID: id, ChainID: id, AccountID: own, Noters: []trial.ID{friend, guide}}
	guest := trial.Enrolment{ID: id, ChainID: id, BroughtBy: guide}
	forgotten := trial.Enrolment{ID: id, ChainID: id}
	imported := trial.Enrolment{ID: id, ChainID: madeUp(8), BroughtBy: guide}
	gone := guest
	gone.ErasedAt = &noon
	for _, c := range []struct {
		what  string
		e     trial.Enrolment
		guest bool
		may   []trial.ID
	}{
		{"an angler", angler, false, []trial.ID{friend, guide}},
		{"a guest", guest, true, []trial.ID{guide}},
		{"a guest whose guide is forgotten", forgotten, true, nil},
		{"an imported angler", imported, false, nil},
		{"an erased guest", gone, false, nil},
	} {
		if c.e.Guest() != c.guest {
			t.Errorf("%s: guest %v", c.what, c.e.Guest())
		}
		for _, account := range []trial.ID{{}, own, friend, guide, stranger} {
			want := false
			for _, may := range c.may {
				want = want || may == account
			}
			if got := c.e.MayBeNotedBy(account); got != want {
				t.Errorf("%s by %s: %v", c.what, account, got)
			}
		}
	}
	members := []trial.Membership{{AccountID: own, Role: trial.Angler}, {AccountID: friend, Role: trial.Angler}, {AccountID: guide, Role: trial.Organiser}, {AccountID: stranger, Role: trial.Auditor}}
	for _, c := range []struct {
		accounts []trial.ID
		faults   int
	}{
		{nil, 0},
		{[]trial.ID{friend, guide}, 0},
		{[]trial.ID{friend, friend}, 1},
		{[]trial.ID{own}, 1},
		{[]trial.ID{stranger}, 1},       // an auditor writes nothing
		{[]trial.ID{madeUp(7)}, 1},      // nobody of the club
		{make([]trial.ID, 11), 11 + 11}, // too many, nobody, and ten times again
	} {
		if got := len(faultsIn(t, angler.CheckNoters(c.accounts, members))); got != c.faults && !(c.faults > 10 && got > 10) {
			t.Errorf("%v: %d faults, want %d", c.accounts, got, c.faults)
		}
	}
}

// Intake lets in whom the angler allowed, keeps a replay of what they typed for good, and tells nobody else anything.
func TestSettleForAnother(t *testing.T) {
	p := complete()
	own, friend, stranger := madeUp(1), madeUp(2), madeUp(4)
	id := madeUp(9)
	angler := trial.Enrolment{ID: id, ChainID: id, AccountID: own, Noters: []trial.ID{friend}}
	guest := trial.Enrolment{ID: id, ChainID: id, BroughtBy: friend}
	period := trial.Period{ID: madeUp(10), EnrolmentID: id, Fished: trial.TestLower, Confirmed: true, StartedAt: noon}
	open := trial.Trial{State: trial.Open}
	fish := trial.Catch{ID: madeUp(11), PeriodID: period.ID, TakenPattern: "C", CaughtAt: noon, SentDigest: trial.Digest{1}}
	for _, c := range []struct {
		what    string
		account trial.ID
		ownOnly bool
		whose   trial.Enrolment
		stored  *trial.Catch
		replay  bool
		kind    trial.Kind // of the error; 0 with code "" when there is none
		code    string
	}{
		{"the angler", own, false, angler, nil, false, 0, ""},
		{"the angler, no member any more", own, true, angler, nil, false, 0, ""},
		{"a friend", friend, false, angler, nil, false, 0, ""},
		{"a friend, no member any more", friend, true, angler, nil, false, trial.NotFound, "not_found"},
		{"a stranger", stranger, false, angler, nil, false, trial.NotFound, "not_found"},
		{"who brought the guest", friend, false, guest, nil, false, 0, ""},
		{"another than who brought the guest", own, false, guest, nil, false, trial.NotFound, "not_found"},
		{"a friend again, who may no longer", friend, false, trial.Enrolment{ID: id, ChainID: id, AccountID: own}, &trial.Catch{NotedBy: friend, SentDigest: trial.Digest{1}}, true, 0, ""},
		{"the angler sends what the friend typed", own, false, angler, &trial.Catch{NotedBy: friend, SentDigest: trial.Digest{1}}, true, 0, ""},
		{"a friend, with other content", friend, false, angler, &trial.Catch{NotedBy: friend, SentDigest: trial.Digest{2}}, false, trial.Conflict, "record.conflict"},
		{"a friend, what the angler sent", friend, false, angler, &trial.Catch{NotedBy: own, SentDigest: trial.Digest{1}}, false, trial.Conflict, "record.conflict"},
		{"a stranger, what the friend typed", stranger, false, angler, &trial.Catch{NotedBy: friend, SentDigest: trial.Digest{1}}, false, trial.Conflict, "record.conflict"},
		{"nobody at all", trial.ID{}, false, guest, nil, false, trial.NotFound, "not_found"},
	} {
		t.Run(c.what, func(t *testing.T) {
			now := trial.Standing{Trial: open, Enrolment: c.whose, Period: &period, Stored: c.stored}
			if c.stored != nil {
				now.StoredAccount = c.whose.AccountID
			}
			insert, replay, err := trial.CatchSubmission{Account: c.account, OwnOnly: c.ownOnly, Protocol: &p, Catch: fish}.Settle(now)
			if c.code != "" {
				wantKind(t, err, c.kind, c.code)
				return
			}
			if err != nil || replay != c.replay || !replay && insert.EnrolmentID != id {
				t.Errorf("replay %v, inserted for %s: %v", replay, insert.EnrolmentID, err)
			}
		})
	}
}
