package trial

import (
	"context"
	"time"
)

// PeopleReadTx is the part of ReadTx about people, clubs and what lets them in.
type PeopleReadTx interface {
	AccountBy(ctx context.Context, account ID) (Account, error)
	// AccountByEmail takes an address in the form of Email.
	AccountByEmail(ctx context.Context, email string) (Account, error)
	// PasswordOf returns the hash of an account's password, "" when it has none.
	PasswordOf(ctx context.Context, account ID) (string, error)
	// AnyAccount reports whether the server knows anybody.
	AnyAccount(ctx context.Context) (bool, error)
	// TokenByHash returns a token that is not revoked, with its account. It may have expired.
	TokenByHash(ctx context.Context, hash Digest) (Token, Account, error)
	// TokensOf returns the tokens that are not revoked, in order of id.
	TokensOf(ctx context.Context, account ID) ([]Token, error)
	// SessionByHash returns a session, with its account. It may have expired.
	SessionByHash(ctx context.Context, hash Digest) (Session, Account, error)
	// SessionsOf returns an account's sessions, those used last first, expired ones too.
	SessionsOf(ctx context.Context, account ID) ([]Session, error)
	// LinkByHash returns the link of a kind with the hash; NotFound when there is none that still stands at the given time.
	LinkByHash(ctx context.Context, kind LinkKind, hash Digest, at time.Time) (Link, error)
	// EventsOf returns what happened to an account, the newest first; EventsOfClub what was done in a club's name.
	EventsOf(ctx context.Context, account ID) ([]Event, error)
	EventsOfClub(ctx context.Context, club ID) ([]Event, error)

	ClubBy(ctx context.Context, club ID) (Club, error)
	// ClubsOf returns the clubs that the account is a member of.
	ClubsOf(ctx context.Context, account ID) ([]Club, error)
	// MembershipBy returns an account's membership, a former one too.
	MembershipBy(ctx context.Context, club, account ID) (Membership, error)
	// MembershipsOf returns an account's memberships in every club, former ones too.
	MembershipsOf(ctx context.Context, account ID) ([]Membership, error)
	// MembersOf returns the club's members, former ones not.
	MembersOf(ctx context.Context, club ID, page Page) ([]Membership, error)
	InvitationsOf(ctx context.Context, club ID) ([]Invitation, error)
	HandoverBy(ctx context.Context, club, handover ID) (Handover, error)
	// HandoversOf returns the club's offers that were neither taken nor ended, expired ones too, the oldest first.
	HandoversOf(ctx context.Context, club ID) ([]Handover, error)
	// EnrolmentsIn returns an account's enrolments in a club's trials, in order of trial.
	EnrolmentsIn(ctx context.Context, club, account ID) ([]Enrolment, error)
}

// PeopleTx is the part of Tx about people, clubs and what lets them in. A club is locked before its trials and their heads.
type PeopleTx interface {
	InsertAccount(ctx context.Context, a Account) error
	SetEmail(ctx context.Context, account ID, email string) error
	// EraseAccount removes everything of an account but its id, which stands where it did something for others.
	EraseAccount(ctx context.Context, account ID) error
	// SetPassword replaces the hash of a password, Conflict when it is not the one that is to be replaced ("" for none).
	SetPassword(ctx context.Context, account ID, old, hash string) error
	InsertToken(ctx context.Context, t Token) error
	RevokeToken(ctx context.Context, account, token ID, at time.Time) error
	// RevokeTokens revokes all of an account's tokens but one, which may be none.
	RevokeTokens(ctx context.Context, account, but ID, at time.Time) error
	// TokenUsed and SessionUsed note when one was last used.
	TokenUsed(ctx context.Context, token ID, at time.Time) error
	SessionUsed(ctx context.Context, session ID, at time.Time) error
	InsertSession(ctx context.Context, s Session) error
	// RotateSession gives a session another secret.
	RotateSession(ctx context.Context, account, session ID, hash Digest) error
	EndSession(ctx context.Context, account, session ID) error
	// EndSessions ends all of an account's sessions but one, which may be none.
	EndSessions(ctx context.Context, account, but ID) error
	InsertLink(ctx context.Context, l Link) error
	// UseLink marks the link of a kind with the hash as used and returns it; NotFound when there is none that still stands.
	UseLink(ctx context.Context, kind LinkKind, hash Digest, at time.Time) (Link, error)
	// EndLinks ends every reset link of an account.
	EndLinks(ctx context.Context, account ID) error
	InsertEvent(ctx context.Context, e Event) error

	InsertClub(ctx context.Context, c Club) error
	// LockClub holds who is what in a club until the transaction ends.
	LockClub(ctx context.Context, club ID) error
	// InsertMembership makes a member, also of who was one before; Conflict when he is one already.
	InsertMembership(ctx context.Context, m Membership) error
	SetRole(ctx context.Context, club, account ID, role Role) error
	InsertInvitation(ctx context.Context, i Invitation) error
	// UseInvitation locks the invitation with the hash and counts one more use; the caller checks Usable first on what
	// it returns, which is the state before the use.
	UseInvitation(ctx context.Context, hash Digest) (Invitation, error)
	RevokeInvitation(ctx context.Context, club, invitation ID, at time.Time) error
	InsertHandover(ctx context.Context, h Handover) error
	// EndHandovers ends the offers of a club that stand and were made by, or to, the account.
	EndHandovers(ctx context.Context, club, account ID, at time.Time) error
	EndHandover(ctx context.Context, club, handover ID, at time.Time) error
	TakeHandover(ctx context.Context, club, handover ID, at time.Time) error
}
