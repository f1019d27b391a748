package trial

import (
	"net/mail"
	"strings"
	"unicode"
	"unicode/utf8"
)

// A password is the only factor, so it is long and free of rules of composition (NIST SP 800-63B-4, 2025, section
// 3.1.1.2: at least 15 characters for a password alone, at least 64 permitted, no mixtures of kinds asked for, words of
// the context refused).
const (
	passwordLeast = 15
	passwordMost  = 128
	// passwordKinds is how many different characters there are at least: common practice, no source.
	passwordKinds = 5
)

// CheckPassword adds the faults of a new password of an account. They say nothing of what was typed.
func CheckPassword(f *Faults, field, password string, a Account) {
	switch n := utf8.RuneCountInString(password); {
	case !utf8.ValidString(password) || strings.ContainsFunc(password, unicode.IsControl):
		f.Add(field, "has a character that cannot be typed; accepted: letters, digits, signs and spaces")
		return
	case n < passwordLeast || n > passwordMost:
		f.Add(field, "has %d characters; accepted: %d to %d, for instance four words that have nothing to do with each other", n, passwordLeast, passwordMost)
		return
	}
	kinds := map[rune]bool{}
	for _, r := range password {
		kinds[r] = true
	}
	if len(kinds) < passwordKinds {
		f.Add(field, "repeats few characters; accepted: at least %d different ones", passwordKinds)
	}
	// What anybody would try first is taken out; what is left must still be long.
	rest := strings.ToLower(password)
	local, _, _ := strings.Cut(a.Email, "@")
	for _, known := range []string{a.Email, a.Name, local, "password", "evenrig"} {
		if utf8.RuneCountInString(known) >= 3 {
			rest = strings.ReplaceAll(rest, strings.ToLower(known), "")
		}
	}
	if utf8.RuneCountInString(rest) < passwordLeast/2 {
		f.Add(field, "is made of your name, your e-mail or a word that anybody would try; accepted: something else")
	}
}

// Email returns an e-mail address in the form in which it is kept and compared: without space around it, in lower case.
func Email(typed string) string { return strings.ToLower(strings.TrimSpace(typed)) }

// CheckEmail adds the faults of an address in the form of Email.
func CheckEmail(f *Faults, field, email string) {
	a, err := mail.ParseAddress(email)
	if err != nil || a.Address != email || a.Name != "" || len(email) > 254 || strings.ContainsFunc(email, unicode.IsSpace) {
		f.Add(field, "is no e-mail address; accepted: one like merle@example.org")
	}
}
