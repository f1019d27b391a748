package exchange

import (
	"bytes"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// kitProtocol is an invented grayling trial.
func kitProtocol() trial.Protocol {
	p := trial.Template()
	p.Title, p.Question = "Collar or none", "Does a collar change the share of grayling that take the nymph?"
	p.FeatureChanged = "an orange collar behind the bead"
	p.Patterns = []trial.Pattern{{Code: "C", Name: "collared nymph", Part: trial.Test}, {Code: "N", Name: "plain nymph", Part: trial.Control}}
	p.Species, p.MinLengthMM = []string{"Thymallus thymallus"}, 200
	p.Waters = []trial.Water{{Name: "Mill Reach", WaterType: "river"}}
	p.SeasonStart, p.SeasonEnd = "2026-09-01", "2026-11-30"
	p.Rig.TippetMM, p.Rig.HookModel, p.Rig.HookSize = .14, "straight shank", "14"
	p.MinAnglers = 1
	return p
}

func kitOf(t testing.TB, rounds int, anglers ...string) Kit {
	t.Helper()
	k, err := MakeKit(kitProtocol(), anglers, rounds, rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func kitFolder(t testing.TB, k Kit) fstest.MapFS {
	t.Helper()
	files, err := k.Files("kit", "test")
	if err != nil {
		t.Fatal(err)
	}
	folder := fstest.MapFS{}
	for _, f := range files {
		folder[f.Name] = &fstest.MapFile{Data: f.Content}
	}
	return folder
}

// schemeOne is the draw as it is defined, written anew from the words of the recipe in the seed's file: the order of n rounds,
// + for the test pattern lower first.
func schemeOne(seed, id, code []byte, sizes []int, n int) string {
	mac := func(key []byte, message []byte) []byte {
		m := hmac.New(sha256.New, key)
		m.Write(message)
		return m.Sum(nil)
	}
	k := mac(mac(seed, nil), slices.Concat(id, code))
	var order string
	for g := 1; len(order) < n; g++ {
		var stream []byte
		for counter := range 40 {
			stream = append(stream, mac(k, fmt.Appendf(nil, "g|%d|%d", g, counter))...)
		}
		below := func(k int) int {
			for {
				b := int(stream[0])
				stream = stream[1:]
				if b < 256-(256%k) {
					return b % k
				}
			}
		}
		if len(sizes) == 0 {
			order += []string{"+", "-"}[below(2)]
			continue
		}
		size := sizes[0]
		if len(sizes) > 1 {
			size = sizes[below(len(sizes))]
		}
		group := []byte(strings.Repeat("+", size/2) + strings.Repeat("-", size/2))
		for i := size - 1; i >= 1; i-- {
			j := below(i + 1)
			group[i], group[j] = group[j], group[i]
		}
		order += string(group)
	}
	return order[:n]
}

// The vector of scheme 1, computed with Python's hashlib and hmac from the definition alone, holds for the order above too.
func TestSchemeOneAnew(t *testing.T) {
	count := func(from byte) (b []byte) {
		for i := range byte(32) {
			b = append(b, from+i)
		}
		return b
	}
	id := must(hex.DecodeString("0190000000007000800000000000000a"))
	if got, want := schemeOne(count(0), id, count(0x20), []int{2, 4}, 14), strings.ReplaceAll("-+ +- +- +- --++ +-", " ", ""); got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

// Whoever has the folder after the last fish recomputes every slip and the check code from its files alone; FIPS 180-4, RFC 2104
// are the standard library's; what RFC 8785 asks of a rule sheet with nothing to escape is that its members are sorted.
func TestSlipsAreWorkedOutFromTheFiles(t *testing.T) {
	for _, method := range []string{trial.PermutedBlocks, trial.CoinPerBlock} {
		p := kitProtocol()
		if p.Draw.Method = method; method == trial.CoinPerBlock {
			p.Draw.GroupSizes = []int{}
		}
		k, err := MakeKit(p, []string{"Alba Fenwright", "Bodo = Karvel"}, 23, rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		folder := kitFolder(t, k)
		text, rules := string(folder[KitSeed].Data), folder[KitRules].Data
		line := func(pattern string) []string {
			return regexp.MustCompile(`(?m)^` + pattern + `$`).FindStringSubmatch(text)
		}
		seed := must(hex.DecodeString(line(`seed (\S+)`)[1]))
		fingerprint := sha256.Sum256(rules)
		code := sha256.Sum256(slices.Concat([]byte("alloc-commit-v1\x00"), seed, fingerprint[:]))
		if want := line(`check code (\S+)`)[1]; hex.EncodeToString(code[:]) != want || !strings.Contains(string(folder[KitCheck].Data), want) || !strings.Contains(string(folder[KitCheck].Data), hex.EncodeToString(fingerprint[:])) {
			t.Errorf("%s: the check code is %x, the file says %s", method, code, want)
		}
		var sorted map[string]any
		if err := json.Unmarshal(rules, &sorted); err != nil {
			t.Fatal(err)
		}
		var again bytes.Buffer
		out := json.NewEncoder(&again)
		out.SetEscapeHTML(false)
		if err := out.Encode(sorted); err != nil || strings.TrimSuffix(again.String(), "\n") != string(rules) {
			t.Errorf("%s: the rule sheet is not canonical: %v", method, err)
		}
		said := regexp.MustCompile(`(?s)<text class="heavy lower"[^>]*>([^<]*)</text>`).FindAllStringSubmatch(string(folder["slips.html"].Data), -1)
		if len(said) != 46 {
			t.Fatalf("%s: %d slips", method, len(said))
		}
		for n, name := range []string{"Alba Fenwright", "Bodo = Karvel"} {
			m := line(`angler (\S+) (\S+) ` + name)
			id := must(hex.DecodeString(strings.ReplaceAll(m[1], "-", "")))
			if id[6]>>4 != 4 || id[8]>>6 != 2 {
				t.Errorf("the id %s is no UUID of version 4 (RFC 9562, section 5.4)", m[1])
			}
			order := schemeOne(seed, id, must(hex.DecodeString(m[2])), p.Draw.GroupSizes, 23)
			for i, sign := range order {
				if want := map[rune]string{'+': "C", '-': "N"}[sign]; said[23*n+i][1] != want {
					t.Errorf("%s: the slip of round %d of %s says %s, the draw %s", method, i+1, name, said[23*n+i][1], want)
				}
			}
		}
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// A kit reads back as it was made, whatever its anglers are called, and no public file tells the seed.
func TestKitReadsBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		names := rapid.SliceOfNDistinct(rapid.StringMatching(`[A-Za-zµé=+@<&0-9][A-Za-zµé 0-9=.'"<>&,;-]{0,20}[A-Za-zé0-9]`), 1, 5, rapid.ID[string]).Draw(rt, "names")
		k, err := MakeKit(kitProtocol(), names, rapid.IntRange(1, 40).Draw(rt, "rounds"), rand.Reader)
		if err != nil {
			rt.Fatal(err)
		}
		folder := kitFolder(t, k)
		again, err := ReadKit(folder)
		if err != nil || !reflect.DeepEqual(again, k) {
			rt.Fatalf("%v: read back %+v, want %+v", err, again, k)
		}
		for name, file := range folder {
			if name != KitSeed && bytes.Contains(file.Data, []byte(hex.EncodeToString(k.Draw.Seed[:]))) {
				rt.Errorf("%s tells the seed", name)
			}
		}
		delete(folder, KitSeed)
		if sealed, err := ReadKit(folder); err != nil || sealed.Draw != nil || !reflect.DeepEqual(sealed.Protocol, k.Protocol) {
			rt.Errorf("%v: without its seed: %+v", err, sealed)
		}
	})
}

// Two kits of one rule sheet have nothing of their draws in common.
func TestKitsDiffer(t *testing.T) {
	a, b := kitOf(t, 8, "me"), kitOf(t, 8, "me")
	if a.Draw.Seed == b.Draw.Seed || a.Draw.Anglers[0].ID == b.Draw.Anglers[0].ID || a.Draw.Anglers[0].Code == b.Draw.Anglers[0].Code || a.Commitment == b.Commitment {
		t.Error("two kits share their randomness")
	}
}

// What was changed after the kit was made is found, and what cannot be read is refused with its place.
func TestTamperedKits(t *testing.T) {
	k := kitOf(t, 6, "Alba", "Bodo")
	seed := hex.EncodeToString(k.Draw.Seed[:])
	code := hex.EncodeToString(k.Draw.Anglers[1].Code[:])
	other := strings.Repeat("0", 64)
	for _, c := range []struct {
		name, file, old, new, says string
	}{
		{"another seed", KitSeed, "seed " + seed, "seed " + other, "kit.check"},
		{"another check code beside the seed", KitSeed, "check code " + k.Commitment.String(), "check code " + other, "kit.check"},
		{"another check code pinned up", KitCheck, k.Commitment.String(), other, "kit.check"},
		{"another code of an angler", KitSeed, code, other, "kit.check"},
		{"an angler renamed", KitCheck, " Bodo", " Abel", "kit.check"},
		{"more rounds", KitSeed, "rounds 6", "rounds 7", "kit.check"},
		{"another rule", KitRules, `"smallest_share":60`, `"smallest_share":55`, "kit.check"},
		{"a rule out of range", KitRules, `"smallest_share":60`, `"smallest_share":50`, "smallest_share"},
		{"a rule that nobody knows", KitRules, `"title":`, `"moon":1,"title":`, "moon"},
		{"no JSON", KitRules, `{"`, `{`, "kit.rules"},
		{"more than a rule sheet", KitRules, `}}`, `}}{}`, "kit.rules"},
		{"no seed", KitSeed, "seed " + seed, "", "0 lines with the seed"},
		{"two seeds", KitSeed, "seed " + seed, "seed " + seed + "\nseed " + other, "2 lines with the seed"},
		{"no rounds", KitSeed, "rounds 6", "rounds", "0 lines with the rounds"},
		{"too many rounds", KitSeed, "rounds 6", "rounds 9999", "rounds"},
		{"an id that is none", KitSeed, "angler " + k.Draw.Anglers[0].ID.String(), "angler 7", "UUID"},
		{"an angler twice", KitSeed, " Bodo", " Alba", "twice"},
		{"a rule sheet without end", KitRules, `{"`, strings.Repeat(" ", maxKitFile) + `{"`, "kit.too_large"},
	} {
		folder := kitFolder(t, k)
		text := string(folder[c.file].Data)
		if !strings.Contains(text, c.old) {
			t.Fatalf("%s: %q is not in %s", c.name, c.old, c.file)
		}
		folder[c.file] = &fstest.MapFile{Data: []byte(strings.Replace(text, c.old, c.new, 1))}
		if _, err := ReadKit(folder); trial.KindOf(err) != trial.Invalid || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", c.name, err, c.says)
		}
	}
	folder := kitFolder(t, k)
	for name, file := range folder { // an editor that ends its lines with CRLF changes nothing
		folder[name] = &fstest.MapFile{Data: bytes.ReplaceAll(file.Data, []byte("\n"), []byte("\r\n"))}
	}
	if again, err := ReadKit(folder); err != nil || !reflect.DeepEqual(again, k) {
		t.Errorf("with CRLF: %v", err)
	}
	var indented bytes.Buffer
	if err := json.Indent(&indented, folder[KitRules].Data, "", "  "); err != nil {
		t.Fatal(err)
	}
	folder[KitRules] = &fstest.MapFile{Data: append([]byte("\xef\xbb\xbf"), indented.Bytes()...)}
	if again, err := ReadKit(folder); err != nil || !reflect.DeepEqual(again, k) {
		t.Errorf("indented: %v", err)
	}
	if _, err := ReadKit(fstest.MapFS{}); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("an empty folder: %v", err)
	}
}

// Every fault of what a kit is to be made from is named, the rule sheet's with it.
func TestKitFaults(t *testing.T) {
	p := kitProtocol()
	p.SmallestShare, p.FeatureChanged, p.Patterns[1].Code, p.Stopping = 50, "", "C", trial.GroupSequential
	p.Looks = &trial.Looks{Planned: 3, Spending: trial.SpendPocock, Method: trial.LookMixedModel}
	p.Source, p.Draw.SameFlyCheck = trial.Recorded, 2
	_, err := MakeKit(p, []string{"", "me", "me", " x", "'=x", "a\nb", strings.Repeat("x", 41)}, 0, rand.Reader)
	known, ok := errors.AsType[*trial.Error](err)
	if !ok || known.Kind != trial.Invalid {
		t.Fatal(err)
	}
	var fields []string
	for _, f := range known.Fields {
		fields = append(fields, f.Field)
	}
	for _, want := range []string{"smallest_share", "feature_changed", "patterns", "stopping", "source", "draw.same_fly_check", "anglers[0]", "anglers[2]", "anglers[3]", "anglers[4]", "anglers[5]", "anglers[6]", "rounds", "min_anglers"} {
		if !slices.Contains(fields, want) {
			t.Errorf("%s is not named among %v", want, fields)
		}
	}
	if _, err := MakeKit(kitProtocol(), nil, 5, rand.Reader); trial.KindOf(err) != trial.Invalid {
		t.Errorf("no anglers: %v", err)
	}
	if _, err := MakeKit(kitProtocol(), []string{"me"}, 5, strings.NewReader("short")); err == nil || trial.KindOf(err) == trial.Invalid {
		t.Errorf("too little randomness: %v", err)
	}
}

// Whatever stands in a kit's two files, it is read or refused with a reason.
func FuzzReadKit(f *testing.F) {
	folder := kitFolder(f, kitOf(f, 4, "Alba", "me"))
	f.Add(folder[KitRules].Data, folder[KitSeed].Data, folder[KitCheck].Data)
	f.Add([]byte(`{}`), []byte("seed 0"), []byte(""))
	f.Fuzz(func(t *testing.T, rules, seed, check []byte) {
		k, err := ReadKit(fstest.MapFS{KitRules: {Data: rules}, KitSeed: {Data: seed}, KitCheck: {Data: check}})
		if err != nil {
			if trial.KindOf(err) != trial.Invalid {
				t.Fatalf("an error that is not the files': %v", err)
			}
			return
		}
		table, _, err := k.ReadTable(strings.NewReader("lower_pattern,taken_position,block,period\n" + k.Protocol.Code(trial.Test) + ",lower,1,1\n"))
		switch {
		case err == nil:
			inputOf(t, k, table)
		case trial.KindOf(err) != trial.Invalid:
			t.Fatal(err)
		}
	})
}
