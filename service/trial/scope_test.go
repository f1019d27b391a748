package trial_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

func TestScopes(t *testing.T) {
	all := []string{"read", "log", "organise", "account"}
	for bits := range 1 << len(all) {
		var words []string
		for i, word := range all {
			if bits&(1<<i) != 0 {
				words = append(words, word)
			}
		}
		s, unknown := trial.ParseScopes(words)
		if len(unknown) > 0 || !slices.Equal(s.Names(), words) && len(words) > 0 {
			t.Errorf("%q became %q, unknown %q", words, s.Names(), unknown)
		}
		for more := range trial.AllScopes + 1 {
			if s.Has(more) != (more&^s == 0) {
				t.Errorf("%q has %q: %t", words, more.Names(), s.Has(more))
			}
		}
	}
	if _, unknown := trial.ParseScopes([]string{"read", "Read", ""}); !slices.Equal(unknown, []string{"Read", ""}) {
		t.Errorf("unknown %q", unknown)
	}
}

func TestNewTokens(t *testing.T) {
	good := trial.Token{Name: "script", CreatedAt: noon}
	at := func(d time.Duration) trial.Token {
		later := good
		later.ExpiresAt = ptr(noon.Add(d))
		return later
	}
	for _, c := range []struct {
		token trial.Token
		words []string
		maker trial.Scopes
		want  []string
	}{
		{good, nil, trial.AllScopes, nil},
		{good, []string{"read", "read"}, trial.ScopeRead, nil},
		{good, []string{"log"}, trial.ScopeRead, []string{"scopes"}},
		{good, []string{"admin"}, trial.AllScopes, []string{"scopes"}},
		{trial.Token{CreatedAt: noon}, nil, trial.AllScopes, []string{"name"}},
		{at(365 * 24 * time.Hour), nil, trial.AllScopes, nil},
		{at(365*24*time.Hour + 1), nil, trial.AllScopes, []string{"expires_at"}},
		{at(0), nil, trial.AllScopes, []string{"expires_at"}},
	} {
		_, err := trial.CheckNewToken(c.token, c.words, c.maker)
		wantFaults(t, err, c.want...)
	}
	if s, _ := trial.CheckNewToken(good, nil, trial.ScopeLog); s != trial.ScopeLog {
		t.Errorf("no scopes named gives %q, want what the maker has", s.Names())
	}
	ended := at(time.Hour)
	if !ended.Usable(noon.Add(time.Hour-1)) || ended.Usable(noon.Add(time.Hour)) || !good.Usable(noon.AddDate(9, 0, 0)) {
		t.Error("a token's end")
	}
	ended.RevokedAt = ptr(noon)
	if ended.Usable(noon) {
		t.Error("a revoked token lets in")
	}
}

// Length as NIST SP 800-63B-4 (2025), section 3.1.1.2, has it for a password alone: 15 characters at least, counted as code
// points, and 64 at least permitted; what is made of the account's own words is refused.
func TestPasswords(t *testing.T) {
	a := trial.Account{Name: "Merle Hatch", Email: "merle@example.org"}
	for password, good := range map[string]bool{
		"tidal pliers under moss": true, "abcdefghijklmno": true, "abcdefghijklmn": false, strings.Repeat("äbcdefgh", 8): true,
		strings.Repeat("abcdefgh", 16): true, strings.Repeat("abcdefgh", 16) + "x": false, "": false, "aaaaabbbbbaaaaabbbbb": false,
		"merle@example.org": false, "Merle Hatch 2026": false, "merlemerlemerle1": false, "passwordpassword": false, "a tab\tin the middle": false,
		"not valid \xc3\x28 at all": false, "Merle Hatch and seven herons": true,
	} {
		var f trial.Faults
		trial.CheckPassword(&f, "password", password, a)
		if err := f.Err("x", "x"); (err == nil) != good {
			t.Errorf("%q: %v", password, err)
		}
	}
	for email, good := range map[string]bool{
		"merle@example.org": true, "m.h+rod@sub.example.org": true, "": false, "merle": false, "merle@": false, "Merle <merle@example.org>": false,
		"merle@example.org, x@example.org": false, "a b@example.org": false, strings.Repeat("a", 250) + "@b.org": false, "merle\n@example.org": false,
	} {
		var f trial.Faults
		trial.CheckEmail(&f, "email", trial.Email(email))
		if err := f.Err("x", "x"); (err == nil) != good {
			t.Errorf("%q: %v", email, err)
		}
	}
}

func TestSessionsEnd(t *testing.T) {
	s := trial.Session{CreatedAt: noon, UsedAt: noon}
	if got := s.ExpiresAt().Sub(noon); got != 30*24*time.Hour {
		t.Errorf("unused it ends after %s", got)
	}
	s.UsedAt = noon.Add(179 * 24 * time.Hour)
	if got := s.ExpiresAt().Sub(noon); got != 180*24*time.Hour {
		t.Errorf("used it ends after %s", got)
	}
}
