package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"io"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"evenrig/service/trial"
)

// paperKit is an invented kit of two anglers.
func paperKit() Kit {
	p := trial.Template()
	p.Title, p.Question = "collared nymph against plain nymph", "Does an orange collar change the share of fish that take the nymph?"
	p.FeatureChanged = "an orange collar behind the bead"
	p.Patterns = []trial.Pattern{{Code: "C", Name: "collared nymph", Part: trial.Test, Colour: "orange"}, {Code: "N", Name: "plain nymph", Part: trial.Control}}
	p.Species, p.MinLengthMM = []string{"Thymallus thymallus", "Salmo trutta"}, 200
	p.Waters = []trial.Water{{Name: "Mill Reach", WaterType: "river"}}
	p.SeasonStart, p.SeasonEnd = "2026-09-01", "2026-11-30"
	p.Rig.TippetMM, p.Rig.HookModel, p.Rig.HookSize = .14, "straight shank", "14"
	p.Welfare.LocalRules, p.Welfare.ReportLine = "Two flies are allowed here.", "The board in the hut."
	way := []trial.Arrangement{trial.TestLower, trial.ControlLower, trial.ControlLower}
	return Kit{Protocol: p, Commitment: trial.Digest{1, 2, 3}, Folder: "kit", Program: "test", Anglers: []KitAngler{
		{Name: "Alba Fenwright", First: []trial.Arrangement{way[0], way[1], way[2], way[0], way[0], way[1], way[1], way[0], way[0], way[2]}}, {Name: "Bodo Karvel", First: way},
	}}
}

var kitPages = map[string]func(io.Writer, Kit) error{"start": KitStart, "rules": KitRules, "slips": KitSlips, "cards": KitCards}

func kitHTML(t *testing.T, k Kit, name string) string {
	t.Helper()
	var b bytes.Buffer
	if err := kitPages[name](&b, k); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// A kit's pages need nothing but themselves, run nothing, and are well formed; the policy names the style that is in them.
func TestKitPagesNeedNothingElse(t *testing.T) {
	for name := range kitPages {
		page := kitHTML(t, paperKit(), name)
		style := page[strings.Index(page, "<style>")+7 : strings.Index(page, "</style>")]
		sum := sha256.Sum256([]byte(style))
		policy := ""
		for _, e := range parse(t, page).all(func(*element) bool { return true }) {
			if e.attr["http-equiv"] != "" {
				policy = e.attr["content"]
			}
			switch e.name {
			case "script", "link", "img", "iframe", "object", "form", "base", "image", "foreignObject":
				t.Errorf("%s: the page has a <%s>", name, e.name)
			}
			for attribute, value := range e.attr {
				if attribute == "style" || strings.HasPrefix(attribute, "on") || strings.Contains(value, "://") && attribute != "xmlns" {
					t.Errorf("%s: <%s> has %s=%q", name, e.name, attribute, value)
				}
			}
		}
		if !strings.Contains(policy, "'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'") || !strings.HasPrefix(policy, "default-src 'none'") {
			t.Errorf("%s: the policy %q does not name the style", name, policy)
		}
		for _, url := range regexp.MustCompile(`url\([^)]*\)|@import`).FindAllString(page, -1) {
			if url != "url(#tint)" {
				t.Errorf("%s: the page has %q", name, url)
			}
		}
	}
}

// Names, codes and rules of ill will come out as text.
func TestKitEscapes(t *testing.T) {
	const nasty = `"><script>alert(1)</script><svg onload='x()'>&amp;`
	k := paperKit()
	k.Folder, k.Program = nasty, nasty
	k.Anglers[0].Name = nasty
	p := &k.Protocol
	p.Title, p.Question, p.FeatureChanged, p.LowerWord, p.UpperWord = nasty, nasty, nasty, nasty, nasty+"2"
	p.Patterns[0] = trial.Pattern{Code: nasty, Name: nasty, Part: trial.Test, Shape: nasty, Colour: nasty}
	p.Rig.HookModel, p.Welfare.LocalRules, p.Welfare.ReportLine = nasty, nasty, nasty
	p.Species = []string{nasty}
	for name := range kitPages {
		page := kitHTML(t, k, name)
		for _, e := range parse(t, page).all(func(*element) bool { return true }) {
			if _, runs := e.attr["onload"]; runs || e.name == "script" {
				t.Errorf("%s: <%s> came out of a text", name, e.name)
			}
		}
		if strings.Contains(page, "<script") {
			t.Errorf("%s: a script", name)
		}
	}
}

// Every slip says on its inside what the draw gave, in the rounds' order, and only there: nothing else of the page, and no
// other page, differs when every round is drawn the other way round.
func TestSlipsHideTheirInsides(t *testing.T) {
	k, other := paperKit(), paperKit()
	for _, a := range other.Anglers {
		for i, way := range a.First {
			a.First[i] = way.Other()
		}
	}
	lower := regexp.MustCompile(`<text class="heavy lower"[^>]*>([^<]*)</text>`)
	var want, got []string
	for _, a := range k.Anglers {
		for _, way := range a.First {
			code, _ := k.Protocol.Flies(way)
			want = append(want, code)
		}
	}
	page := kitHTML(t, k, "slips")
	for _, m := range lower.FindAllStringSubmatch(page, -1) {
		got = append(got, m[1])
	}
	if strings.Join(got, " ") != strings.Join(want, " ") {
		t.Errorf("the slips say %v, want %v", got, want)
	}
	secret := regexp.MustCompile(`(?s)<g class="secret">.*?</g>\s*</g>`)
	for name := range kitPages {
		a, b := secret.ReplaceAllString(kitHTML(t, k, name), ""), secret.ReplaceAllString(kitHTML(t, other, name), "")
		if a != b {
			t.Errorf("%s tells the draw outside the slips' insides", name)
		}
	}
	if n := len(secret.FindAllString(page, -1)); n != len(want) {
		t.Errorf("%d insides, want %d", n, len(want))
	}
	if !strings.Contains(page, "@media screen { .secret { visibility: hidden; } }") {
		t.Error("the insides show on a screen")
	}
	outside := regexp.MustCompile(`<text class="heavy" x="280" y="142">(\d+)</text>`).FindAllStringSubmatch(page, -1)
	if len(outside) != len(want) || outside[9][1] != "10" || outside[10][1] != "1" {
		t.Errorf("the numbers outside are %v", outside)
	}
	if n := strings.Count(page, "folded and stapled by"); n != len(want) {
		t.Errorf("%d lines for who folded, want %d", n, len(want))
	}
}

// The rule sheet says every rule of the protocol, and the cautions with local law first.
func TestRuleSheetSaysTheRules(t *testing.T) {
	k := paperKit()
	page := parse(t, kitHTML(t, k, "rules")).text()
	says := func(page string, words ...string) {
		t.Helper()
		for _, word := range words {
			if !strings.Contains(page, word) {
				t.Errorf("the rule sheet does not say %q", word)
			}
		}
	}
	says(page, k.Protocol.Question, k.Protocol.FeatureChanged, "after 2 fish or after 45 minutes, whichever comes first", "within 5 minutes", "on the first cast after it", "20 cm (8 in)", "0.14 mm",
		"straight shank, size 14, barbless", "3 flies of each", "after 15 fish", "Thymallus thymallus or Salmo trutta, of at least 20 cm (8 in)", "1 September 2026", "30 November 2026", "400 fish",
		"Two flies are allowed here.", "The board in the hut.", "of 100 fish at least 60", "20 °C", "that round is over", "point", "dropper")
	if law, rest := strings.Index(page, "local law, season"), strings.Index(page, "Two flies, one difference"); law < 0 || law > rest {
		t.Error("local law does not come first")
	}
	for _, caution := range trial.Cautions(18, 20) {
		says(page, caution.Text)
	}
	k.Protocol.Draw.BlockMaySpan, k.Protocol.Swap.By, k.Protocol.Rig.WeightAt = true, "spare_cast", "below_flies"
	says(parse(t, kitHTML(t, k, "rules")).text(), "go on with it at your next outing", "two casts made up", "below the flies")
	k.Protocol.Design, k.Protocol.Swap.AfterFish, k.Protocol.Swap.AfterMinutes, k.Protocol.Rig.DropperMount = trial.PairedByOuting, nil, nil, "bend"
	by := parse(t, kitHTML(t, k, "rules")).text()
	says(by, "the whole outing", "At your next outing on the same water", "from the bend")
	if strings.Contains(by, "swap now") {
		t.Error("the rule sheet speaks of swaps in a trial without")
	}
}

// A card has every column of the catch table but taken_position, which follows from two others; the names are the contract's.
func TestCardsHaveTheTablesColumns(t *testing.T) {
	page := parse(t, kitHTML(t, paperKit(), "cards")).text()
	for _, column := range []string{
		"angler", "outing", "block", "period", "lower_pattern", "taken_pattern", "caught_at", "species", "origin", "water_type", "(fly)",
		"outcome", "foul_hooked", "length", "cm or in", "exclusion", "unknown", "other", "no fish today", "fish not", "lost", "touched", "double",
	} {
		if !strings.Contains(page, column) {
			t.Errorf("the cards lack %q", column)
		}
	}
}

// No line of a pocket card runs past its frame, whatever font the printer's machine has in Arial's place: a letter of DejaVu Sans, the
// widest that is common, takes .49 of its size in such a line (measured in Chromium; .55 leaves room), and what would be wider than the
// frame says its length itself.
func TestPocketCardLinesStayInTheFrame(t *testing.T) {
	page, lines := kitHTML(t, paperKit(), "cards"), 0
	for _, group := range parse(t, page).all(func(e *element) bool { return e.name == "g" && e.attr["font-size"] != "" }) {
		size, err := strconv.ParseFloat(group.attr["font-size"], 64)
		if err != nil {
			t.Fatal(err)
		}
		for _, text := range group.all(func(e *element) bool { return e.name == "text" && !strings.Contains(e.attr["class"], "middle") }) {
			x, err := strconv.ParseFloat(text.attr["x"], 64)
			if err != nil {
				t.Fatal(err)
			}
			width := .55 * size * float64(utf8.RuneCountInString(text.text()))
			if length := text.attr["textLength"]; length != "" {
				if width, err = strconv.ParseFloat(length, 64); err != nil {
					t.Fatal(err)
				}
			}
			if x+width > cardWidth-2 { // the frame
				t.Errorf("%q runs to %.0f of %d", text.text(), x+width, cardWidth)
			}
			lines++
		}
	}
	if lines == 0 {
		t.Error("no lines")
	}
}
