package trial

import "slices"

// LedgerNoters is the kind of entries about who may note for an angler.
const LedgerNoters = "noters"

// MostNoters is how many members an angler may let note for him.
const MostNoters = 10

// Guest reports whether the enrolment is a guest's for a day, on paper: without an account, with a chain of its own.
func (e Enrolment) Guest() bool {
	return e.AccountID.IsZero() && !e.ID.IsZero() && e.ChainID == e.ID && e.ErasedAt == nil
}

// MayBeNotedBy reports whether an account may keep records for the angler: one that he allowed, or the member who brought him.
func (e Enrolment) MayBeNotedBy(account ID) bool {
	return e.ErasedAt == nil && (slices.Contains(e.Noters, account) || e.Guest() && e.BroughtBy == account && !account.IsZero())
}

// Who keeps an angler's record, or corrects it.
const (
	ByAngler = "angler"
	ByHelper = "helper"
)

// KeptBy says who kept a record of the angler with the given account: the angler, or whoever notes for him. A guest, and somebody
// erased, has no account.
func KeptBy(angler, account ID) string {
	if account == angler && !angler.IsZero() {
		return ByAngler
	}
	return ByHelper
}

// typed reports whether somebody else typed a fish of the angler's. Of an imported table nobody knows.
func (e Enrolment) typed(c Catch) bool { return e.Guest() || c.NotedBy != e.AccountID }

// CheckNoters returns the faults of the list of those who may note for an angler. members are the club's that may fish.
func (e Enrolment) CheckNoters(accounts []ID, members []Membership) error {
	var f Faults
	between(&f, "accounts", len(accounts), 0, MostNoters, "members")
	for i, account := range accounts {
		known := slices.ContainsFunc(members, func(m Membership) bool {
			return m.AccountID == account && Permit(NoteForOthers, m.Role) == nil
		})
		switch {
		case account == e.AccountID:
			f.Add("accounts", "names yourself; accepted: other members")
		case slices.Contains(accounts[:i], account):
			f.Add("accounts", "names %s twice", account)
		case !known:
			f.Add("accounts", "names %s; accepted: organisers and anglers of the club", account)
		}
	}
	return f.Err("enrolment.invalid", "the list has faults")
}
