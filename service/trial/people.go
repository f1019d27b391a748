package trial

import "time"

// Account is a person known to the server. Admins look after the server; what a person is in a club is a membership.
// Email is empty for who signs in by a token alone. The password's hash is no part of it, so that no list or log has it.
type Account struct {
	ID        ID
	Name      string
	Email     string
	Admin     bool
	CreatedAt time.Time
}

// Erases returns nil when the account may be erased: nobody's who is a member of a club or looks after the server, nor, unless
// they are to be kept, with records in that many trials.
func (a Account) Erases(memberships []Membership, joined int, keepRecords bool) error {
	if a.Admin {
		return Fail(Conflict, "account.admin", "the account looks after the server; it cannot be erased")
	}
	for _, m := range memberships {
		if m.Role != Former {
			return Fail(Conflict, "account.member", "you are still a member of a club; leave your clubs first")
		}
	}
	if joined > 0 && !keepRecords {
		return Fail(Conflict, "account.records", "you have records in %d trials; have them erased there first, or say that they stay under their pseudonyms", joined)
	}
	return nil
}

// Actor is who asks: every use case takes one and decides for itself what it may do. What the credential is good for that
// was sent, Scopes, is asked at the edge, once for every operation; TokenID or SessionID says which credential it was.
// For is the enrolment of another angler whom the actor notes for, zero for his own.
type Actor struct {
	AccountID ID
	Admin     bool
	Scopes    Scopes
	TokenID   ID
	SessionID ID
	For       ID
}

// Club is a group that runs trials.
type Club struct {
	ID        ID
	Name      string
	CreatedAt time.Time
}

// Membership is an account's place in a club. Name is the account's, for lists.
type Membership struct {
	ClubID    ID
	AccountID ID
	Name      string
	Role      Role
	JoinedAt  time.Time
}

// Token lets a phone or a program act for an account. Only its SHA-256 is kept. ExpiresAt is nil for one that has no end,
// LastUsedAt for one that was never used; it is written at most once in UseNoted.
type Token struct {
	ID         ID
	AccountID  ID
	Name       string
	Hash       Digest
	Scopes     Scopes
	CreatedAt  time.Time
	ExpiresAt  *time.Time
	LastUsedAt *time.Time
	RevokedAt  *time.Time
}

// Usable reports whether the token lets anybody in at now.
func (t Token) Usable(now time.Time) bool {
	return t.RevokedAt == nil && (t.ExpiresAt == nil || now.Before(*t.ExpiresAt))
}

// Invitation lets a number of people join a club in a role until it expires. Only its secret's SHA-256 is kept. Name is
// whom a single one is for, empty when that was not said.
type Invitation struct {
	ID        ID
	ClubID    ID
	Role      Role
	Name      string
	Hash      Digest
	Uses      int
	Used      int
	CreatedBy ID
	CreatedAt time.Time
	ExpiresAt time.Time
	RevokedAt *time.Time
}

// InvitationLife is how long an invitation can be accepted.
const InvitationLife = 14 * 24 * time.Hour

// Usable returns nil when the invitation can still be accepted at now.
func (i Invitation) Usable(now time.Time) error {
	if i.RevokedAt != nil || i.Used >= i.Uses || !now.Before(i.ExpiresAt) {
		return Missing("invitation (it may have been used up, revoked or be older than 14 days)")
	}
	return nil
}

// CheckName returns the faults of a person's, club's or token's name.
func CheckName(field, name string) error {
	var f Faults
	length(&f, field, name, 1, 80)
	return f.Err("name.invalid", "the name has a fault")
}

// CheckInvitation returns the faults of a wanted invitation: organisers, auditors and who is named are invited one by one.
func CheckInvitation(role Role, uses int, name string) error {
	var f Faults
	if name != "" {
		length(&f, "name", name, 1, 80)
	}
	OneOf(&f, "role", role, Organiser, Angler, Auditor)
	most := 1
	if role == Angler && name == "" {
		most = 200
	}
	between(&f, "uses", uses, 1, most, "uses for this role")
	return f.Err("invitation.invalid", "the invitation has faults")
}
