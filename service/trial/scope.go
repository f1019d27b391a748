package trial

import (
	"slices"
	"strings"
)

// Scopes say what a credential is good for. They never give more than the account may do; they let a program have less.
type Scopes uint8

// The scopes. A session in a browser has them all.
const (
	ScopeRead     Scopes = 1 << iota // read what the account may read
	ScopeLog                         // keep the account's own records: joining, outings, fish, corrections, leaving
	ScopeOrganise                    // what a club's organiser or the server's admin does
	ScopeAccount                     // the account itself: e-mail, password, tokens, sessions, joining a club
	allScopesEnd

	AllScopes = allScopesEnd - 1
)

var scopeNames = []string{"read", "log", "organise", "account"}

// Has reports whether s has every scope of wanted.
func (s Scopes) Has(wanted Scopes) bool { return s&wanted == wanted }

// Names returns the scopes' words, in one order.
func (s Scopes) Names() []string {
	names := []string{}
	for i, name := range scopeNames {
		if s.Has(1 << i) {
			names = append(names, name)
		}
	}
	return names
}

// ParseScopes returns the scopes that the words name, and the words that name none.
func ParseScopes(words []string) (s Scopes, unknown []string) {
	for _, word := range words {
		i := slices.Index(scopeNames, word)
		if i < 0 {
			unknown = append(unknown, word)
			continue
		}
		s |= 1 << i
	}
	return s, unknown
}

// TokenLife is how long a token may be good for that somebody makes for a program.
const TokenLife = 365 * 24 * hour

// CheckNewToken returns the scopes and the faults of a wanted token: its name, its scopes (none named means all that its
// maker has), and how long it lasts. A credential makes none that can do more than itself.
func CheckNewToken(t Token, words []string, maker Scopes) (Scopes, error) {
	var f Faults
	length(&f, "name", t.Name, 1, 80)
	wanted, unknown := ParseScopes(words)
	if len(words) == 0 {
		wanted = maker
	}
	for _, word := range unknown {
		f.Add("scopes", "has %q; accepted: %s", word, strings.Join(scopeNames, ", "))
	}
	if !maker.Has(wanted) {
		f.Add("scopes", "ask for more than the credential has that asks; accepted: %s", strings.Join(maker.Names(), ", "))
	}
	if t.ExpiresAt != nil && (!t.ExpiresAt.After(t.CreatedAt) || t.ExpiresAt.After(t.CreatedAt.Add(TokenLife))) {
		f.Add("expires_at", "is out of range; accepted: from now on to 365 days ahead")
	}
	return wanted, f.Err("token.refused", "the token has faults")
}
