package analysis

import (
	"slices"

	"evenrig/service/trial"
)

// Harms counts what was done to landed fish, excluded ones too, by the fly that they took and where it hung: no test, no rate
// (after CONSORT Harms 2022, Junqueira et al. 2023, BMJ 381:e073725). Noted says that the source asks for a fish's state; where
// it does not, a 0 of dead, bleeding and deep hooked only means that nobody was asked.
type Harms struct {
	Noted bool       `json:"noted"`
	Rows  []HarmsRow `json:"rows"` // never nil
}

// HarmsRow is one fly at one position; rows without a landed fish are left out. Taken is test, control, other or not_known, Position
// lower, upper or not_known. A fish may stand in more than one of the last four.
type HarmsRow struct {
	Taken      string `json:"taken"`
	Position   string `json:"position"`
	Landed     int64  `json:"landed"`
	Dead       int64  `json:"dead"`
	Bleeding   int64  `json:"bleeding"`
	DeepHooked int64  `json:"deep_hooked"`
	FoulHooked int64  `json:"foul_hooked"`
}

// What a fish took and where, where it is not known.
const notKnown = "not_known"

// harms counts the landed fish of the tallies; nil without one.
func harms(in Input) *Harms {
	rows := map[[2]string]*HarmsRow{}
	noted := in.ownRecords()
	for _, t := range in.Tallies {
		switch t.Exclusion {
		case trial.Void, trial.AfterLock, trial.ExcludeLost, trial.ExcludeTouched:
			continue
		}
		taken, position := takenWhere(t)
		row := at(rows, [2]string{taken, position})
		row.Taken, row.Position = taken, position
		row.Landed += t.N
		for _, sign := range trial.WelfareSigns(t.Welfare) {
			switch sign {
			case "bleeding":
				row.Bleeding += t.N
			case "dead":
				row.Dead += t.N
			case "deep_hooked":
				row.DeepHooked += t.N
			}
		}
		if t.Exclusion == trial.FoulHooked {
			row.FoulHooked += t.N
		}
		noted = noted || t.Welfare != ""
	}
	if len(rows) == 0 {
		return nil
	}
	h := &Harms{Noted: noted, Rows: []HarmsRow{}}
	for _, taken := range []string{string(trial.TookTest), string(trial.TookControl), string(trial.TookOther), notKnown} {
		for _, position := range []string{"lower", "upper", notKnown} {
			if row := rows[[2]string{taken, position}]; row != nil {
				h.Rows = append(h.Rows, *row)
			}
		}
	}
	return h
}

// takenWhere tells the fly and the position of a tally's fish. A known pattern hangs where its arrangement has it.
func takenWhere(t trial.Tally) (taken, position string) {
	switch {
	case t.Taken == trial.TookOther:
		return string(t.Taken), notKnown
	case t.Taken != trial.TookTest && t.Taken != trial.TookControl:
		return notKnown, notKnown
	case !slices.Contains([]trial.Arrangement{trial.TestLower, trial.ControlLower}, t.Arrangement):
		return string(t.Taken), notKnown
	}
	position = "upper"
	if (t.Arrangement == trial.TestLower) == (t.Taken == trial.TookTest) {
		position = "lower"
	}
	if t.Exclusion == trial.SameFlyCheck { // both flies were control flies, one of them marked as the test pattern
		t.Taken = trial.TookControl
	}
	return string(t.Taken), position
}
