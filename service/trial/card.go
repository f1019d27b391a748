package trial

import (
	"fmt"
	"time"
)

// PaperTime is how long a paper card may be on its way to whoever types it in: a fish on one that took longer is noted late.
const PaperTime = 30 * 24 * time.Hour

// LedgerCard is the kind of entry that says that a paper card was typed in.
const LedgerCard = "card"

// Card is a paper card that was typed in, under the number printed on it. Content is what was typed, so that a second typing can be
// compared with it: AgainBy and AgainAt say by whom and when, Differs where the two differ.
type Card struct {
	TrialID     ID
	Number      int
	EnrolmentID ID
	OutingID    ID
	Content     []byte
	WrittenAt   time.Time
	TypedBy     ID
	TypedAt     time.Time
	AgainBy     ID
	AgainAt     *time.Time
	Differs     []string
}

// PaperCard is a day's fishing as a paper card has it. WrittenAt is when the card was written: its fish were noted then.
type PaperCard struct {
	WrittenAt time.Time    `json:"written_at"`
	Outing    PaperOuting  `json:"outing"`
	Rounds    []PaperRound `json:"rounds"`
}

// PaperOuting is the head and the foot of a card.
type PaperOuting struct {
	Water            string    `json:"water"`
	StartedAt        time.Time `json:"started_at"`
	StartedLate      bool      `json:"started_late"`
	WaterTemperature *Measure  `json:"water_temperature"`
	Conditions       string    `json:"conditions"`
	Note             string    `json:"note"`
	EndedAt          time.Time `json:"ended_at"`
	Reason           string    `json:"reason"`
	NotLogged        int       `json:"not_logged"`
}

// PaperRound is a round on a card: of a unit that was carried, or else of what drew it at the water.
type PaperRound struct {
	Unit    *ID         `json:"unit"`
	DrawnBy DrawnBy     `json:"drawn_by"`
	First   Arrangement `json:"first"`
	DrawnAt *time.Time  `json:"drawn_at"`
	Slip    int         `json:"slip"`
	Halves  []PaperHalf `json:"halves"`
}

// PaperHalf is a half of a round with its fish.
type PaperHalf struct {
	StartedAt time.Time   `json:"started_at"`
	Confirmed bool        `json:"confirmed"`
	Fished    Arrangement `json:"fished"`
	EndedAt   time.Time   `json:"ended_at"`
	SwapNowAt *time.Time  `json:"swap_now_at"`
	Reason    string      `json:"reason"`
	Fish      []PaperFish `json:"fish"`
}

// PaperFish is one line of a card. Fish of the same Double, counted from 1 on the card, took both flies at once.
type PaperFish struct {
	CaughtAt      time.Time `json:"caught_at"`
	TakenPattern  string    `json:"taken_pattern"`
	TakenPosition Position  `json:"taken_position"`
	Outcome       Outcome   `json:"outcome"`
	FoulHooked    bool      `json:"foul_hooked"`
	RigIntact     bool      `json:"rig_intact"`
	Double        int       `json:"double"`
	Welfare       []string  `json:"welfare"`
	Species       string    `json:"species"`
	Origin        Origin    `json:"origin"`
	Length        *Measure  `json:"length"`
	Note          string    `json:"note"`
}

// What a card may hold.
const (
	mostCard   = 99_999
	mostRounds = 20
	mostFish   = 60
)

// Check returns the faults of a card that its records, each checked by its own rules, would not show.
func (c PaperCard) Check(number int, now time.Time) error {
	var f Faults
	between(&f, "number", number, 1, mostCard, "")
	checkTime(&f, "written_at", c.WrittenAt, now)
	between(&f, "rounds", len(c.Rounds), 0, mostRounds, "rounds")
	for i, r := range c.Rounds {
		path := fmt.Sprintf("rounds[%d]", i)
		between(&f, path+".halves", len(r.Halves), 1, 2, "halves")
		if r.Unit != nil && (r.DrawnBy != "" || r.First != "" || r.Slip != 0) {
			f.Add(path+".unit", "is given beside what drew the round; accepted: one of the two")
		}
		for j, h := range r.Halves {
			between(&f, fmt.Sprintf("%s.halves[%d].fish", path, j), len(h.Fish), 0, mostFish, "fish")
		}
	}
	return f.Err("card.invalid", "the card has faults")
}

// AwaitsCards returns nil when a closed trial with paper at the water may be locked at now: cards are handed in within PaperTime.
func (t Trial) AwaitsCards(now time.Time) error {
	if earliest := t.ClosedAt.Add(PaperTime); now.Before(earliest) {
		return Fail(Conflict, "trial.too_early", "the trial was closed at %s and has slips, guests or cards on paper, which may be handed in for 30 days: it can be locked from %s, or once you say that all cards are in",
			t.ClosedAt.UTC().Format(time.RFC3339), earliest.UTC().Format(time.RFC3339))
	}
	return nil
}

// tookLong reports whether the card that a fish of the outing stood on was handed in too late.
func (o Outing) tookLong(c Catch) bool { return o.Card != 0 && c.ReceivedAt.Sub(c.NotedAt) > PaperTime }

// At puts a path before every field that an error names.
func At(path string, err error) error {
	if err == nil {
		return nil
	}
	e, ok := err.(*Error) //nolint:errorlint // what rules return is not wrapped
	if !ok {
		return fmt.Errorf("%s: %w", path, err)
	}
	at := *e
	at.Detail = path + ": " + e.Detail
	at.Fields = make([]FieldError, len(e.Fields))
	for i, f := range e.Fields {
		at.Fields[i] = FieldError{Field: path + "." + f.Field, Detail: f.Detail}
	}
	return &at
}
