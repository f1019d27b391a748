package exchange

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"evenrig/service/trial"
)

// The files of a kit that are read again.
const (
	KitRules   = "protocol.json"
	KitCatches = "catches.csv"
	KitSeed    = "seed-open-afterwards.txt"
	KitCheck   = "check-code.txt"
)

// The lines of the seed's file that are read again; all others are for people.
var (
	seedLine   = regexp.MustCompile(`^seed ([0-9a-f]{64})$`)
	codeLine   = regexp.MustCompile(`^check code ([0-9a-f]{64})$`)
	roundsLine = regexp.MustCompile(`^rounds ([0-9]{1,4})$`)
	anglerLine = regexp.MustCompile(`^angler (\S+) ([0-9a-f]{64}) (.+)$`)
)

// seedText is what is opened after the last fish: the seed, what each angler's draw was made with, and every slip, with how to
// work them out again.
func (k Kit) seedText() []byte {
	var b bytes.Buffer
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("OPEN ONLY AFTER THE LAST FISH")
	line("")
	line("Whoever reads this knows what every slip says. Leave it closed until the last fish")
	line("is written down; better still, let the one who folds the slips keep it.")
	b.WriteString(strings.Repeat("\n", 40)) // a glance at the top of the file shows nothing
	line("%s", k.Protocol.Title)
	line("")
	line("scheme %d", trial.AllocationScheme)
	line("seed %x", k.Draw.Seed)
	k.publicLines(line)
	line("")
	line("What the slips say: which fly is the %s first, round by round from 1.", k.Protocol.LowerWord)
	line("")
	for _, a := range k.Draw.Anglers {
		line("%s", a.Name)
		first := k.Draw.First(k.Protocol, a)
		for i := 0; i < len(first); i += 10 {
			codes := make([]string, 0, 10)
			for _, way := range first[i:min(i+10, len(first))] {
				lower, _ := k.Protocol.Flies(way)
				codes = append(codes, lower)
			}
			line("  %3d to %3d   %s", i+1, i+len(codes), strings.Join(codes, "  "))
		}
	}
	line("")
	b.WriteString(kitRecipe)
	return b.Bytes()
}

// checkText is what is written down, photographed or pinned up before the first cast. It tells nothing of any slip.
func (k Kit) checkText() ([]byte, error) {
	fingerprint, err := k.Fingerprint()
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("CHECK CODE OF THE DRAW, to be kept where all can see it BEFORE THE FIRST CAST")
	line("")
	line("%s", k.Protocol.Title)
	line("")
	k.publicLines(line)
	line("")
	line("rule sheet: SHA-256 of the file %s is", KitRules)
	line("%s", fingerprint)
	line("")
	line("Photograph this page, send it to somebody who does not fish the trial, or pin it up.")
	line("The check code fixes the seed of the draw and the rule sheet; the lines of the anglers")
	line("fix which part of the draw is whose. They tell nothing of what a slip says. After the")
	line("last fish %s is opened, and anyone can see that nothing was", KitSeed)
	line("drawn again and no rule was changed since. It cannot show how many kits were made")
	line("before this one: so make one kit, and keep its code before you fold the slips.")
	return b.Bytes(), nil
}

// publicLines are those of the draw's facts that both texts hold.
func (k Kit) publicLines(line func(format string, args ...any)) {
	line("check code %s", k.Commitment)
	line("rounds %d", k.Draw.Rounds)
	for _, a := range k.Draw.Anglers {
		line("angler %s %x %s", a.ID, a.Code, a.Name)
	}
}

const kitRecipe = `How to work it out again (SHA-256: FIPS 180-4; HMAC: RFC 2104)

1. The check code is SHA-256 of: the text alloc-commit-v1, a zero byte, the 32 bytes of
   the seed, and the 32 bytes of SHA-256 of the file protocol.json.
2. S is HMAC-SHA256 with the seed as its key, of an empty message.
3. An angler's key K is HMAC-SHA256 with the key S, of the 16 bytes of the id and the 32
   bytes of the code in the angler's line above.
4. Group g, from 1, takes its bytes one by one from HMAC-SHA256 with the key K of the text
   g|, g, | and a counter from 0, in decimal digits: "g|1|0", "g|1|1" and so on. A number
   below k is a byte modulo k; bytes of 256 - (256 mod k) and above are thrown away.
5. The group's size is picked from group_sizes in protocol.json (a number below how many
   there are; none is drawn where there is one). Half of its rounds have the changed fly
   lower first, then half the usual one. From the last place i down to 1 (places from 0),
   the round there changes places with the one at a number below i + 1. With
   coin_per_block every round is a group of one: the changed fly lower first if the number
   below 2 is 0.
`

// readDraw reads what seedText wrote.
func readDraw(text string) (k Kit, err error) {
	draw := KitDraw{}
	seen := map[string]int{}
	for _, raw := range strings.Split(text, "\n") {
		line := strings.TrimRight(raw, "\r")
		if m := seedLine.FindStringSubmatch(line); m != nil {
			seen["seed"]++
			draw.Seed = key32(m[1])
		} else if m := codeLine.FindStringSubmatch(line); m != nil {
			seen["check code"]++
			k.Commitment = key32(m[1])
		} else if m := roundsLine.FindStringSubmatch(line); m != nil {
			seen["rounds"]++
			draw.Rounds, _ = strconv.Atoi(m[1])
		} else if m := anglerLine.FindStringSubmatch(line); m != nil {
			id, err := trial.ParseID(m[1])
			if err != nil {
				return Kit{}, trial.Fail(trial.Invalid, "kit.seed", "%s: the angler %q has the id %q, which %s", KitSeed, m[3], m[1], err)
			}
			draw.Anglers = append(draw.Anglers, KitAngler{Name: m[3], ID: id, Code: key32(m[2])})
		}
	}
	for _, what := range []string{"seed", "check code", "rounds"} {
		if seen[what] != 1 {
			return Kit{}, trial.Fail(trial.Invalid, "kit.seed", "%s: has %d lines with the %s; accepted: the one that the kit was made with", KitSeed, seen[what], what)
		}
	}
	if len(draw.Anglers) == 0 {
		return Kit{}, trial.Fail(trial.Invalid, "kit.seed", "%s: names no angler; accepted: a line for each, as the kit was made", KitSeed)
	}
	k.Draw = &draw
	return k, nil
}

// key32 decodes 64 hexadecimal digits, which the line's pattern has checked.
func key32(digits string) (key [32]byte) {
	_, _ = hex.Decode(key[:], []byte(digits))
	return key
}
