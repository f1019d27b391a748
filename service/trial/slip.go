package trial

import (
	"fmt"
	"strings"
	"time"
)

// SlipSheet is a sheet of sealed paper slips that a member printed for an angler: slips First to Last, numbered within the
// trial. What a slip says inside is stored nowhere.
type SlipSheet struct {
	TrialID     ID
	N           int
	EnrolmentID ID
	First       int
	Last        int
	PrintedBy   ID
	PrintedAt   time.Time
}

// LedgerSlips is the kind of entry that says who printed slips.
const LedgerSlips = "slips"

// MostSlips is how many slips a sheet may have.
const MostSlips = 64

// CheckSlips returns the faults of a wanted sheet.
func CheckSlips(count int) error {
	var f Faults
	between(&f, "count", count, 1, MostSlips, "slips")
	return f.Err("slips.invalid", "the sheet has faults")
}

// NextSheet numbers a sheet of so many slips after those given.
func NextSheet(sheets []SlipSheet, count int) SlipSheet {
	last := 0
	for _, s := range sheets {
		last = max(last, s.Last)
	}
	return SlipSheet{N: len(sheets) + 1, First: last + 1, Last: last + count}
}

// PrintsSlips returns nil when a member who has the given enrolment may print slips: not while fishing the trial, because who
// prints them could know what is inside.
func (e Enrolment) PrintsSlips() error {
	if e.LeftAt == nil {
		return Fail(Conflict, "slips.fishes", "you fish this trial; its slips are printed, folded and sealed by a member who does not")
	}
	return nil
}

// Toss returns the order that a slip or a coin gives for a random byte: each of the two as likely.
func Toss(random byte) Arrangement {
	if random%2 == 0 {
		return TestLower
	}
	return ControlLower
}

func holdsSlip(sheets []SlipSheet, slip int) bool {
	for _, s := range sheets {
		if s.First <= slip && slip <= s.Last {
			return true
		}
	}
	return false
}

func slipNumbers(sheets []SlipSheet) string {
	if len(sheets) == 0 {
		return "there is none yet"
	}
	ranges := make([]string, len(sheets))
	for i, s := range sheets {
		ranges[i] = fmt.Sprintf("%d to %d", s.First, s.Last)
	}
	return strings.Join(ranges, ", ")
}
