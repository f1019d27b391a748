package api_test

import (
	"fmt"
	"html"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"evenrig/api/web"
	"evenrig/openapi"
)

// tableWorld is a club with a trial, somebody in each role, and somebody of another club.
type tableWorld struct {
	*world
	c                                          *club
	e                                          *contest
	rod                                        *rod
	fish, outing                               uuid.UUID
	period                                     openapi.Period
	organiser, angler, scrutineer, of, outside *browser
}

func newTableWorld(t *testing.T) *tableWorld {
	t.Helper()
	w := newWorld(t)
	tw := &tableWorld{world: w, c: w.newClub("Fellside Fly Fishers")}
	tw.e = tw.c.opened(tw.c.ruleSheet())
	tw.rod = tw.e.join("Anna of the lower beat")
	tw.outing, _, tw.period = tw.rod.inAPeriod()
	tw.fish = tw.rod.land(tw.period.ID, "C")
	tw.organiser, tw.scrutineer, tw.angler = tw.c.organiser.signedIn("sef@example.org"), tw.c.scrutiny.signedIn("odo@example.org"), tw.rod.signedIn("anna@example.org")
	tw.of = tw.c.invited("angler", "Beth of the beck").signedIn("beth@example.org")
	tw.outside = w.newClub("Another Water").organiser.signedIn("outside@example.org")
	return tw
}

// at fills an address of the pages in with ids of the world.
func (w *tableWorld) at(path string) string {
	return strings.NewReplacer(":trial", w.e.trial.String(), ":club", w.c.id.String(), ":catch", w.fish.String(), ":period", w.period.ID.String(), ":outing", w.outing.String(), ":state", "paused",
		":member", uuid.NewString(), ":invitation", uuid.NewString(), ":handover", uuid.NewString(), ":session", uuid.NewString(), ":token", uuid.NewString()).Replace(path)
}

// tablePages are the addresses of the pages at the table that show something.
func tablePages(method string) (paths []string) {
	for _, r := range web.New(nil, web.Options{}).Routes() {
		if r.Method == method && r.Signed && (strings.HasPrefix(r.Path, "/trials/") || strings.HasPrefix(r.Path, "/clubs")) && !strings.Contains(r.Path, "/result") {
			paths = append(paths, r.Path)
		}
	}
	return paths
}

// Who has not signed in is sent to sign in and back; who is of another club finds nothing; nobody's page shows anything that
// could be run.
func TestPagesShowNobodyElsesTrials(t *testing.T) {
	w := newTableWorld(t)
	stranger := w.browser()
	for _, path := range tablePages(http.MethodGet) {
		at := w.at(path)
		stranger.get(at).shows(200)
		if got := stranger.last.Request.URL; got.Path != "/sign-in" || got.Query().Get("next") != at {
			t.Errorf("a stranger at %s came to %s", path, got)
		}
		if path == "/clubs" {
			continue
		}
		w.outside.get(at)
		if w.outside.last.StatusCode != 404 {
			t.Errorf("somebody of another club at %s was answered %d:\n%s", path, w.outside.last.StatusCode, w.outside.body)
		}
		for _, text := range []string{"Collar on the weighted nymph", "Anna of the lower beat", "Fellside"} {
			if strings.Contains(w.outside.body, text) {
				t.Errorf("somebody of another club reads %q at %s", text, path)
			}
		}
	}
	for _, path := range tablePages(http.MethodPost) {
		if path == "/clubs" {
			continue
		}
		if w.outside.post(w.at(path), "reason", "because I can", "word", "heron", "do", "read"); w.outside.last.StatusCode < 400 {
			t.Errorf("somebody of another club did something at %s: %d at %s", path, w.outside.last.StatusCode, w.outside.last.Request.URL)
		}
	}
}

var runnable = regexp.MustCompile(`(?i)<script(?:>|\s[^>]*>[^<])|\son[a-z]+\s*=\s*["']|\sstyle\s*=|javascript:|<style`)

// Every member's pages open, each with the policy, and with nothing in them that the policy would have to stop.
func TestPagesOpenByRole(t *testing.T) {
	w := newTableWorld(t)
	refused := map[string][]string{
		"organiser":  {"/own", "/own/catches/:catch", "/own/periods/:period", "/own/outings/:outing", "/own/leave"},
		"angler":     {"/print/labels", "/move/:state", "/members", "/outstanding", "/import", "/protocol/change"},
		"scrutineer": {"/print/labels", "/noting", "/cards", "/move/:state", "/members", "/outstanding", "/import", "/protocol/change", "/own", "/own/catches/:catch", "/own/periods/:period", "/own/outings/:outing", "/own/leave"},
	}
	for role, b := range map[string]*browser{"organiser": w.organiser, "angler": w.angler, "scrutineer": w.scrutineer} {
		for _, path := range tablePages(http.MethodGet) {
			if strings.Contains(path, ":member") || strings.Contains(path, ":version") {
				continue
			}
			b.get(w.at(path))
			below := strings.TrimPrefix(path, "/trials/:trial")
			switch status := b.last.StatusCode; {
			case slices.Contains(refused[role], below) && status != 403 && status != 404 && b.last.Request.URL.Path == w.at(path):
				t.Errorf("%s at %s was answered %d", role, path, status)
			case !slices.Contains(refused[role], below) && status != 200:
				t.Errorf("%s at %s was answered %d:\n%s", role, path, status, b.text())
			}
			if found := runnable.FindString(b.body); found != "" && !strings.Contains(path, "/print/") {
				t.Errorf("%s at %s reads %q", role, path, found)
			}
		}
	}
}

// What people write is text wherever it is shown.
func TestPagesShowWordsAsWords(t *testing.T) {
	w := newWorld(t)
	const evil = `<img src=x onerror="alert(1)">`
	c := w.newClub("Club " + evil)
	p := c.ruleSheet()
	p.Title, p.Question = "Collar "+evil, "Does a collar "+evil+" change the share of takes?"
	p.Waters[0].Name = evil
	p.Patterns[0].Name = evil
	p.Welfare.LocalRules = evil
	e := c.opened(p)
	anna := e.join("Anna " + evil)
	ok[*openapi.PutOutingResponse](t, 201)(anna.PutOutingWithResponse(t.Context(), e.trial, newID(), openapi.NewOuting{Water: evil, StartedAt: w.clock(), Note: ptr(evil), Conditions: ptr(evil)}))
	outing, unit := anna.outingAt(evil), anna.unit()
	fish := anna.land(anna.begin(outing, unit.ID, 1).ID, "C")
	organiser, angler := c.organiser.signedIn("sef@example.org"), anna.signedIn("anna@example.org")
	trialAt := "/trials/" + e.trial.String()
	angler.post(trialAt+"/own/catches/"+fish.String(), "version", "1", "zone", "+00:00", "species", "Thymallus thymallus", "note", evil, "reason", evil)
	organiser.post(trialAt+"/move/paused", "reason", evil)
	for _, path := range []string{"", "/protocol", "/members", "/progress", "/draw-night", "/print/slips"} {
		organiser.get(trialAt + path).shows(200)
		if strings.Contains(organiser.body, "<img") {
			t.Errorf("%s shows what was written as markup:\n%s", path, organiser.body)
		}
	}
	for _, path := range []string{"", "/own", "/own/catches/" + fish.String(), "/protocol"} {
		angler.get(trialAt + path).shows(200)
		if strings.Contains(angler.body, "<img") {
			t.Errorf("%s shows what was written as markup:\n%s", path, angler.body)
		}
	}
	organiser.get("/clubs/"+c.id.String()).shows(200, "&lt;img")
	w.browser().get("/sign-in?next=" + url.QueryEscape(evil)).shows(200)
}

func (r *rod) outingAt(water string) uuid.UUID {
	r.w.t.Helper()
	id := newID()
	ok[*openapi.PutOutingResponse](r.w.t, 201)(r.PutOutingWithResponse(r.w.t.Context(), r.e.trial, id, openapi.NewOuting{
		Water: water, StartedAt: r.w.clock(), WaterTemperature: &openapi.Measure{Value: 11.5, Unit: "C"},
	}))
	return id
}

var secretLink = regexp.MustCompile(`/(?:join|reset)#([a-z]+_[A-Za-z0-9_-]+)`)

// A club's whole life at the table, without a script: invited, joined, drafted, registered, opened, joined, corrected, closed,
// locked; an angler who leaves.
func TestAClubAtTheTable(t *testing.T) {
	w := newWorld(t)
	admin := w.admin.signedIn("ada@example.org")
	admin.get("/clubs").shows(200, "Found the club")
	admin.post("/clubs", "name", "Fellside Fly Fishers").shows(200, "The club is founded")
	clubAt := admin.last.Request.URL.Path
	admin.post(clubAt+"/invitations", "role", "angler", "uses", "300").shows(422, "accepted: 1 to 200")
	admin.post(clubAt+"/invitations", "role", "angler", "uses", "2").shows(200, "<svg class=\"squares\"", "good for 2 people")
	secret := secretLink.FindStringSubmatch(admin.body)
	if secret == nil {
		t.Fatalf("there is no link:\n%s", admin.body)
	}
	admin.get(clubAt).shows(200, "0 of 2")
	if strings.Contains(admin.body, secret[1]) {
		t.Error("the invitation's secret is shown again")
	}

	anna := w.browser()
	anna.post("/join", "secret", "https://trials.example.org/join#"+secret[1]+"x", "name", "Anna").shows(404, "no such invitation", `value="Anna"`)
	anna.post("/join", "secret", "https://trials.example.org/join#"+secret[1], "name", "Anna of the lower beat").shows(200, "You are a member", "What I sign in with")
	anna.post("/me/sign-in", "email", "anna@example.org", "password", "short").shows(422, "accepted: 15 to 128", `value="anna@example.org"`)
	anna.post("/me/sign-in", "email", "anna@example.org", "password", "herons stand where the beck bends").shows(200)
	anna.post("/sign-out").shows(200, "You are signed out")
	anna.get("/clubs").shows(200)
	if anna.last.Request.URL.Path != "/sign-in" {
		t.Errorf("after signing out one comes to %s", anna.last.Request.URL)
	}
	anna.post("/sign-in", "email", "anna@example.org", "password", "herons stand where the beck bends", "next", clubAt).shows(200, "Fellside Fly Fishers")

	admin.post(clubAt+"/trials", "title", "Collar on the weighted nymph", "source", "drawn").shows(200, "stand in the way of registering")
	trialAt := strings.TrimSuffix(admin.last.Request.URL.Path, "/protocol")
	admin.get(trialAt).shows(200, "Write the rule sheet")
	anna.get(trialAt).shows(200, "The rule sheet is being written")
	if strings.Contains(anna.body, "/move/") {
		t.Error("an angler is offered to move the trial")
	}
	admin.get(trialAt+"/move/registered").shows(200, "The rule sheet has")
	admin.post(trialAt+"/move/registered").shows(422, "the protocol has faults")
	sheet := formOf(t, admin.get(trialAt+"/protocol").body)
	sheet.Set("rig.spacing_cm", "a hand")
	admin.send(trialAt+"/protocol", sheet).shows(422, "accepted: a number", "a hand")
	for name, value := range map[string]string{
		"question": "Does a collar on the weighted nymph change the share of takes?", "feature_changed": "an orange collar behind the bead", "rig.spacing_cm": "20,5",
		"patterns[0].code": "C", "patterns[0].name": "collared nymph", "patterns[1].code": "N", "patterns[1].name": "plain nymph", "species[0]": "Thymallus thymallus",
		"waters[0].name": "Upper Wend", "waters[0].water_type": "river", "season_start": "2026-09-01", "season_end": "2026-11-30", "rig.tippet_mm": "0.14",
		"rig.hook_model": "straight shank", "rig.hook_size": "14", "outing_limits.late_limit_h": "1",
	} {
		sheet.Set(name, value)
	}
	admin.send(trialAt+"/plan", sheet).shows(200, "of 100 seasons", "20,5", "Play it by chance")
	sheet.Set("play", "yes")
	admin.send(trialAt+"/plan", sheet).shows(200, "200 seasons were played by chance")
	sheet.Del("play")
	admin.get(trialAt+"/protocol").shows(200, `name="rig.spacing_cm" value="20"`) // asking keeps nothing
	admin.send(trialAt+"/protocol", sheet).shows(200, "Kept.", "Nothing stands in the way", `value="20.5"`)
	admin.send(trialAt+"/protocol", sheet).shows(412, "has been changed") // another has written meanwhile
	admin.post(trialAt+"/move/registered").shows(200, "Let anglers join")

	anna.get(trialAt).shows(200, "join if you want")
	anna.get(trialAt+"/join").shows(200, "Wet hands", "Local rules first")
	if strings.Contains(anna.body, "checked") {
		t.Error("a tick is set beforehand")
	}
	join := formOf(t, anna.body)
	join.Set("consent.take_part", "yes")
	anna.send(trialAt+"/join", join).shows(422, "is not ticked")
	for _, tick := range []string{"store", "share_pseudonymous", "licence_confirmed", "adult_or_guardian"} {
		join.Set("consent."+tick, "yes")
	}
	join.Set("guess", "140")
	anna.send(trialAt+"/join", join).shows(422, "accepted: 0 to 100")
	join.Set("guess", "62")
	anna.send(trialAt+"/join", join).shows(200, "You are in.", "62 of 100 fish")
	admin.get(trialAt+"/members").shows(200, "Anna of the lower beat")
	if strings.Contains(admin.text(), "62") {
		t.Error("the organiser reads a sealed guess")
	}
	anna.post(trialAt+"/draw-night", "word", "two words").shows(422, "one word")
	anna.post(trialAt+"/draw-night", "word", "heron").shows(200, "heron", "yours")
	admin.post(trialAt+"/draw-night/close").shows(200, "The draw stands")
	admin.post(trialAt + "/move/open").shows(200)
	admin.get(trialAt+"/progress").shows(200, "Which fly is ahead is hidden")
	change := formOf(t, admin.get(trialAt+"/protocol/change").shows(200, "never changes").body)
	if change.Has("title") || change.Has("rig.spacing_cm") || change.Has("swap.after_fish") {
		t.Error("a rule change shows what was registered for good")
	}
	change.Set("waters[1].name", "Mill Reach")
	change.Set("waters[1].water_type", "river")
	change.Set("welfare.stop_c", "22")
	admin.send(trialAt+"/protocol/change", change).shows(422, "accepted: 10 to 500", "accepted: lower ones")
	change.Set("welfare.stop_c", "19")
	change.Set("funding", "Ann Roe gave the hooks")
	change.Set("reason", "the owner has opened the reach below the mill")
	admin.send(trialAt+"/protocol/change", change).shows(200, "A new version", "Version 2", "the owner has opened the reach")
	anna.get(trialAt+"/protocol").shows(200, "Version 2", "the owner has opened the reach", "Ann Roe gave the hooks")
	anna.get(trialAt+"/protocol/versions/1").shows(200, "This is version 1 as it stood", "Version 2")
	if strings.Contains(anna.body, "Ann Roe gave the hooks") {
		t.Error("version 1 says what only version 2 does")
	}
	anna.get(trialAt + "/protocol/versions/3").shows(404)
	if strings.Contains(anna.body, "/protocol/change") {
		t.Error("an angler is offered to change the rules")
	}
	admin.post(trialAt+"/overrides", "angler", "NOBODY", "day", "2026-09-01", "reason", "measured in the shallows alone").shows(404, "names none of yours")
	admin.post(trialAt+"/move/closed", "reason", "the season is over").shows(200, "the season is over")
	admin.get(trialAt+"/move/locked").shows(200, "it can be locked from")
	w.wait(2 * time.Hour)
	admin.post(trialAt + "/move/locked").shows(200)
	anna.get(trialAt+"/own/leave").shows(200, "cannot be undone")
	anna.post(trialAt+"/own/leave", "how", "erase").shows(422, "nothing was erased")
	anna.post(trialAt+"/own/leave", "how", "erase", "sure", "yes").shows(200, "Erased.")
	admin.get(trialAt+"/members").shows(200, "erased")
}

var (
	inputTag    = regexp.MustCompile(`<input [^>]*>`)
	textareaTag = regexp.MustCompile(`(?s)<textarea [^>]*name="([^"]*)"[^>]*>(.*?)</textarea>`)
	selectTag   = regexp.MustCompile(`(?s)<select [^>]*name="([^"]*)"[^>]*>(.*?)</select>`)
	chosenTag   = regexp.MustCompile(`<option value="([^"]*)" selected`)
	firstOption = regexp.MustCompile(`<option value="([^"]*)"`)
	attribute   = regexp.MustCompile(`(\w+)="([^"]*)"`)
)

// formOf reads the fields of a page's forms as a browser would send them.
func formOf(t *testing.T, body string) url.Values {
	t.Helper()
	values := url.Values{}
	for _, tag := range inputTag.FindAllString(body, -1) {
		found := map[string]string{}
		for _, m := range attribute.FindAllStringSubmatch(tag, -1) {
			found[m[1]] = html.UnescapeString(m[2])
		}
		if found["type"] == "checkbox" && !strings.Contains(tag, " checked") || found["name"] == "" {
			continue
		}
		values.Add(found["name"], found["value"])
	}
	for _, m := range textareaTag.FindAllStringSubmatch(body, -1) {
		values.Set(m[1], html.UnescapeString(m[2]))
	}
	for _, m := range selectTag.FindAllStringSubmatch(body, -1) {
		if chosen := chosenTag.FindStringSubmatch(m[2]); chosen != nil {
			values.Set(m[1], chosen[1])
		} else if first := firstOption.FindStringSubmatch(m[2]); first != nil {
			values.Set(m[1], first[1])
		}
	}
	return values
}

// send posts a form as it stands.
func (b *browser) send(path string, form url.Values) *browser {
	b.w.t.Helper()
	var fields []string
	for name, values := range form {
		for _, value := range values {
			fields = append(fields, name, value)
		}
	}
	return b.post(path, fields...)
}

// Corrections on the page do what those of a program do, and say what was there.
func TestAnAnglersOwnPages(t *testing.T) {
	w := newTableWorld(t)
	trialAt := w.at("/trials/:trial")
	w.angler.get(trialAt+"/own").shows(200, "Round 1", "C", "31.5 cm", "Thymallus thymallus")
	catchAt := w.at("/trials/:trial/own/catches/:catch")
	form := formOf(t, w.angler.get(catchAt).shows(200, "Nothing is overwritten").body)
	form.Set("length", "32,5")
	w.angler.send(catchAt, form).shows(422, "needs its reason")
	form.Set("reason", "read off the wrong mark")
	w.angler.send(catchAt, form).shows(200, "Corrected", "32.5 cm")
	w.angler.get(catchAt).shows(200, "read off the wrong mark", "<del>31.5 cm</del> 32.5 cm")
	w.angler.send(catchAt, form).shows(412, "has been changed")
	form = formOf(t, w.angler.get(catchAt).body)
	form.Set("void", "yes")
	form.Set("reason", "it was caught before the first cast")
	w.angler.send(catchAt, form).shows(200, `class="void"`)

	periodAt := w.at("/trials/:trial/own/periods/:period")
	form = formOf(t, w.angler.get(periodAt).shows(200, "What was drawn never changes").body)
	other := map[string]string{"test_lower": "control_lower", "control_lower": "test_lower"}[form.Get("fished")]
	form.Set("fished", other)
	form.Set("test_fly", "3")
	form.Set("reason", "rigged the other way round")
	w.angler.send(periodAt, form).shows(200, "not as drawn", "C no. 3")
	w.angler.get(periodAt).shows(200, "number of the changed fly", "<del>–</del> 3")
	outingAt := trialAt + "/own/outings/" + w.outing.String()
	form = formOf(t, w.angler.get(outingAt).shows(200, "11.5", "Upper Wend").body)
	form.Set("water_temperature", "12,5")
	form.Set("water", "Mill Reach")
	form.Set("reason", "the other reach, and read again")
	w.angler.send(outingAt, form).shows(200, "Mill Reach", "12.5 °C")
	// The water is read again, twice the same form, and once a wrong time.
	form = formOf(t, w.angler.get(outingAt).shows(200, "The water through the day", "12.5").body)
	form.Set("reading_at", "14:30")
	form.Set("reading", "13,5")
	w.angler.send(outingAt+"/temperatures", form).shows(200, "14:30", "13.5 °C")
	w.angler.send(outingAt+"/temperatures", form).shows(200, "14:30")
	form.Set("reading_at", "noon")
	w.angler.send(outingAt+"/temperatures", form).shows(422, "like 14:30")
	if n := strings.Count(w.angler.get(trialAt+"/own").shows(200, "14:30").body, "13.5 °C"); n != 1 {
		t.Errorf("the reading stands there %d times", n)
	}
	for _, b := range []*browser{w.organiser, w.of, w.scrutineer} {
		b.get(catchAt)
		if b.last.StatusCode < 400 {
			t.Errorf("somebody else reads an angler's fish: %d", b.last.StatusCode)
		}
	}
}

// A dispute is filed by its record's code and decided by two others, who are not told which fly was taken.
func TestADisputeOnItsPage(t *testing.T) {
	w := newTableWorld(t)
	at := w.at("/trials/:trial/disputes")
	w.angler.get(w.at("/trials/:trial/own/catches/:catch")).shows(200, w.fish.String(), "Dispute it")
	w.angler.post(at, "subject", "a fish", "words", "it came while I changed the flies over").shows(422, "is missing")
	w.angler.post(at, "subject", w.fish.String(), "words", "it came while I changed the flies over").shows(200, "Two other members are asked", "not decided yet")
	for i, b := range []*browser{w.organiser, w.scrutineer} {
		b.get(at).shows(200, "it came while I changed", "Thymallus thymallus")
		if strings.Contains(b.body, w.fish.String()) || strings.Contains(b.text(), " C ") {
			t.Errorf("who decides is told which fish it is, or what it took:\n%s", b.text())
		}
		dispute := regexp.MustCompile(`/disputes/([0-9a-f-]{36})`).FindStringSubmatch(b.body)
		if dispute == nil {
			t.Fatalf("%d is not asked to decide", i)
		}
		b.post(at+"/"+dispute[1], "decision", "exclude", "reason", "short").shows(422, "accepted: 10 to 500")
		b.post(at+"/"+dispute[1], "decision", "exclude", "reason", "the rule sheet says so").shows(200, "Your decision stands")
	}
	w.angler.get(at).shows(200, "left out")
	w.angler.get(w.at("/trials/:trial/own")).shows(200, "disputed")
}

// A paper card is typed a line a fish, all of it or nothing; every fault stands at its field, and a second typing makes no
// second fish.
func TestACardIsTyped(t *testing.T) {
	w := newTableWorld(t)
	w.wait(10 * time.Hour)
	at := w.at("/trials/:trial/cards")
	form := formOf(t, w.angler.get(at).shows(200, "Type a paper card", `data-line`).body)
	for name, value := range map[string]string{
		"number": "7", "day": "2026-09-01", "water": "Mill Reach", "first_cast": "8:30", "last_cast": "1145", "temperature": "12,5", "sum": "3",
		"rounds[0].drawn_by": "coin", "rounds[0].lower": "C", "rounds[0].halves[0].started_at": "835", "rounds[0].halves[1].started_at": "10.05",
		"fish[0].half": "11", "fish[0].caught_at": "8:50", "fish[0].took": "c", "fish[0].length": "31,5", "fish[0].marks": "w",
		"fish[1].half": "11", "fish[1].caught_at": "10:02", "fish[1].took": "x",
		"fish[2].half": "12", "fish[2].caught_at": "11:00", "fish[2].took": "?", "fish[2].marks": "l q",
	} {
		form.Set(name, value)
	}
	w.angler.send(at, form).shows(422, "accepted: l t f 2 r w s d b h")
	form.Set("fish[2].marks", "l")
	// More room than four rounds and sixteen fish, without a script: nothing that was typed is lost.
	form.Set("more", "yes")
	wider := w.angler.send(at, form).shows(200, `name="rounds[4].lower"`, `name="fish[23].took"`, `value="31,5"`, `value="x"`)
	if strings.Contains(wider.body, `class="fault"`) || strings.Contains(wider.body, `name="rounds[5].lower"`) {
		t.Error("asking for more room says faults, or makes too much")
	}
	if again := formOf(t, wider.body); again.Get("room_rounds") != "5" || again.Get("room_fish") != "24" {
		t.Errorf("the wider form has room for %s rounds and %s fish", again.Get("room_rounds"), again.Get("room_fish"))
	}
	form.Del("more")
	form.Set("room_rounds", "5")
	form.Set("room_fish", "24")
	w.angler.send(at, form).shows(422, `value="x"`, "accepted: C, N, unknown")
	form.Set("fish[1].took", "N")
	form.Set("sum", "4")
	w.angler.send(at, form).shows(422, "and 3 fish are typed")
	form.Set("sum", "3")
	w.angler.send(at, form).shows(200, "The card is kept")
	w.angler.get(w.at("/trials/:trial/own")).shows(200, "Mill Reach", "12.5 °C", "31.5 cm", "8:30", "swapped by the rule", "11:00")
	w.angler.send(at, form).shows(200, "The card is kept") // the same again
	form.Set("fish[1].took", "C")
	w.angler.send(at, form).shows(409)
	w.organiser.get(at).shows(200, "Cards typed so far", "<td class=\"n\">7</td>")
}

// Questions are asked by members and answered by the organiser; the log tells a scrutineer nothing of what was taken.
func TestAScrutineersPages(t *testing.T) {
	w := newTableWorld(t)
	at := w.at("/trials/:trial")
	w.scrutineer.get(at+"/log").shows(200, "a record", "2026-W36")
	if strings.Contains(w.scrutineer.text(), "Thymallus") || strings.Contains(w.scrutineer.body, w.fish.String()) {
		t.Errorf("the log tells what was taken while that is hidden:\n%s", w.scrutineer.text())
	}
	w.scrutineer.post(at+"/questions", "question", "?").shows(422, "accepted")
	w.scrutineer.post(at+"/questions", "question", "Who folded the slips for the upper beat?").shows(200, "Asked.", "Not answered yet")
	w.angler.post(at+"/questions/1", "answer", "I did, of course I did.").shows(403)
	w.organiser.post(at+"/questions/1", "answer", "A member who does not fish the trial.").shows(200, "Answered.", "does not fish the trial")
}

// Flies are packed, looked over and issued by their envelopes' codes.
func TestFliesOnTheirPage(t *testing.T) {
	w := newTableWorld(t)
	at := w.at("/trials/:trial/flies")
	w.organiser.post(at, "batch", "", "tied_by", "one tyer", "envelopes", "2", "per_pattern", "3").shows(422, "accepted: 1 to 80")
	w.organiser.post(at, "batch", "first", "tied_by", "one tyer", "envelopes", "2", "per_pattern", "3").shows(200, "in stock", "not yet")
	code := regexp.MustCompile(`>([0-9A-Z]{4}-[0-9A-Z]{4})<`).FindStringSubmatch(w.organiser.body)[1]
	w.scrutineer.post(at+"/batches/1", "not_tyer", "yes", "remarks", "alike but for the collar").shows(200, "alike but for the collar")
	w.organiser.post(at+"/moves", "code", code, "kind", "issued", "enrolment", w.rod.enrolment.String()).shows(200, "issued to")
	w.organiser.get(w.at("/trials/:trial/print/labels")).shows(200, code)
	w.angler.get(at).shows(200, code)
	w.of.get(at).shows(200)
	if strings.Contains(w.of.body, code) {
		t.Error("another angler reads whose envelope it is")
	}
}

// A table is read before it is taken in; reading keeps nothing.
func TestATableIsReadFirst(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Fellside Fly Fishers")
	p := c.ruleSheet()
	p.Source = "recorded"
	e := c.opened(p)
	b := c.organiser.signedIn("sef@example.org")
	at := "/trials/" + e.trial.String()
	const good = "lower_pattern,taken_pattern,angler\nC,C,ann\nN,C,ann\nC,N,bo\n"
	b.upload(at+"/import?do=read", "caught.csv", good).shows(200, "3 rows", "by 2 anglers", "can be taken in")
	b.get(at+"/progress").shows(200, "0 fish that count")
	b.upload(at+"/import?do=save", "caught.csv", strings.Replace(good, "N,C,ann", "N,X,ann", 1)).shows(200, "has a fault", "nothing is kept", "taken_pattern")
	b.upload(at+"/import?do=save", "caught.csv", good).shows(200, "It is taken in")
	b.upload(at+"/import?do=save", "caught.csv", good).shows(200, "taken in before")
	b.get(at+"/progress").shows(200, "3 fish that count")
	b.post(at+"/import?do=save").shows(422, "no table was sent")
}

// upload sends a file as a browser's form does.
func (b *browser) upload(path, name, content string) *browser {
	b.w.t.Helper()
	const boundary = "a-line-that-stands-nowhere-else"
	body := fmt.Sprintf("--%[1]s\r\nContent-Disposition: form-data; name=\"table\"; filename=%[2]q\r\nContent-Type: text/csv\r\n\r\n%[3]s\r\n--%[1]s--\r\n", boundary, name, content)
	r, err := http.NewRequestWithContext(b.w.t.Context(), http.MethodPost, b.w.url+path, strings.NewReader(body))
	if err != nil {
		b.w.t.Fatal(err)
	}
	r.Header.Set("Content-Type", "multipart/form-data; boundary="+boundary)
	r.Header.Set("Origin", b.w.url)
	return b.do(r)
}
