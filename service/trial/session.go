package trial

import "time"

const hour = time.Hour

// Session is a browser that has signed in. Only the SHA-256 of its cookie is kept.
type Session struct {
	ID        ID
	AccountID ID
	Hash      Digest
	CreatedAt time.Time
	UsedAt    time.Time // written at most once in UseNoted
}

// A session ends after SessionIdle without use, which a fortnight's fishing without signal does not reach, and in any
// case after SessionLife, so that nobody stays signed in for more than a season: common practice, no source.
const (
	SessionIdle = 30 * 24 * hour
	SessionLife = 180 * 24 * hour
)

// SessionsMost is how many sessions an account has at most; the ones unused for longest give way.
const SessionsMost = 20

// UseNoted is how often at most it is written down that a token or session was used.
const UseNoted = hour

// ExpiresAt is when the session ends if it is not used again.
func (s Session) ExpiresAt() time.Time {
	idle, life := s.UsedAt.Add(SessionIdle), s.CreatedAt.Add(SessionLife)
	if idle.Before(life) {
		return idle
	}
	return life
}

// Link is a secret that can be used once, soon: to set a new password, or to become the first admin of a new server.
// ClubID is the club whose organiser handed a reset out, zero when a server's admin did. Only its SHA-256 is kept.
type Link struct {
	ID        ID
	Kind      LinkKind
	Hash      Digest
	AccountID ID
	ClubID    ID
	MadeBy    ID
	MadeAt    time.Time
	ExpiresAt time.Time
	UsedAt    *time.Time
}

// LinkKind says what a link is good for.
type LinkKind string

// The kinds of link.
const (
	LinkReset      LinkKind = "reset"
	LinkFirstAdmin LinkKind = "first_admin"
)

// LinkLife is how long a link can be used.
const LinkLife = hour

// Handover is an organiser's offer of the role to a member, who takes it or does not.
type Handover struct {
	ID        ID
	ClubID    ID
	From      ID
	To        ID
	OfferedAt time.Time
	ExpiresAt time.Time
	TakenAt   *time.Time
	EndedAt   *time.Time // withdrawn, declined or replaced by another
}

// HandoverLife is how long an offer of the role stands.
const HandoverLife = 14 * 24 * hour

// Open returns nil when the offer can still be taken at now.
func (h Handover) Open(now time.Time) error {
	if h.TakenAt != nil || h.EndedAt != nil || !now.Before(h.ExpiresAt) {
		return Fail(Conflict, "handover.ended", "the offer no longer stands: it was taken, withdrawn, declined, replaced, or is older than 14 days")
	}
	return nil
}

// Event is something that happened to an account, which its holder can read for ever: who let whom in, and when. By is who
// did it, zero when it was done on the server; ClubID the club in whose name, zero when in none's.
type Event struct {
	ID        ID
	AccountID ID
	Kind      EventKind
	By        ID
	ClubID    ID
	At        time.Time
}

// EventKind says what happened.
type EventKind string

// The kinds of event.
const (
	EmailSet      EventKind = "email_set"
	PasswordSet   EventKind = "password_set"
	AllSignedOut  EventKind = "all_signed_out"
	TokenMade     EventKind = "token_made"
	ResetMade     EventKind = "reset_made"
	ResetUsed     EventKind = "reset_used"
	RoleOffered   EventKind = "role_offered"
	RoleTaken     EventKind = "role_taken"
	RoleGiven     EventKind = "role_given"
	MemberRemoved EventKind = "member_removed"
	MemberLeft    EventKind = "member_left"
)

// CanBeResetBy returns nil when a club's organiser may hand out a reset link for the member: for a plain angler of that
// club and of no other. Whoever can do more, or is known elsewhere, goes to a server's admin; which of the two it is, is
// not said.
func CanBeResetBy(club ID, a Account, memberships []Membership) error {
	if !a.Admin && len(memberships) == 1 && memberships[0].ClubID == club && memberships[0].Role == Angler {
		return nil
	}
	return Fail(Forbidden, "reset.admin", "only a server's admin may hand out a reset link for this member")
}
