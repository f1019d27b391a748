package trial_test

import (
	"errors"
	"slices"
	"testing"
	"time"

	"evenrig/service/trial"
)

// madeUp returns a UUID of version 7 (RFC 9562, section 5.7) that differs for each n.
func madeUp(n int) trial.ID {
	return trial.ID{0x01, 0x90, 0, 0, byte(n >> 24), byte(n >> 16), 0x70, 0, 0x80, 0, 0, 0, 0, byte(n >> 16), byte(n >> 8), byte(n)}
}

// noon is a day's fishing in the season of complete's protocol.
var noon = time.Date(2026, 9, 12, 12, 0, 0, 0, time.UTC)

// complete is an invented grayling trial with everything given that Template leaves open.
func complete() trial.Protocol {
	p := trial.Template()
	p.Title = "Collar on the weighted nymph"
	p.Question = "Does a collar on the weighted nymph change the share of takes?"
	p.FeatureChanged = "an orange collar behind the bead"
	p.SeasonStart, p.SeasonEnd = "2026-09-01", "2026-11-30"
	p.Patterns = []trial.Pattern{
		{Code: "C", Name: "collared nymph", Part: trial.Test, Shape: "ring", Colour: "orange"},
		{Code: "N", Name: "plain nymph", Part: trial.Control, Shape: "bar", Colour: "brown"},
	}
	p.Species = []string{"Thymallus thymallus"}
	p.Waters = []trial.Water{{Name: "Upper Wend", WaterType: "river"}, {Name: "Mill Reach", WaterType: "river"}}
	p.Rig.TippetMM, p.Rig.HookModel, p.Rig.HookSize = .14, "straight shank", "14"
	return p
}

// faultsIn returns the fields named in an error, sorted, each as often as it is named; nil when err is nil.
func faultsIn(t *testing.T, err error) []string {
	t.Helper()
	if err == nil {
		return nil
	}
	var e *trial.Error
	if !errors.As(err, &e) || e.Kind != trial.Invalid {
		t.Fatalf("got %v, want an Invalid error", err)
	}
	fields := make([]string, 0, len(e.Fields))
	for _, f := range e.Fields {
		if f.Detail == "" {
			t.Errorf("the fault of %s says nothing", f.Field)
		}
		fields = append(fields, f.Field)
	}
	slices.Sort(fields)
	return fields
}

// wantFaults fails unless err names exactly the given fields, each at least once, and no other.
func wantFaults(t *testing.T, err error, want ...string) {
	t.Helper()
	got := slices.Compact(faultsIn(t, err))
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("faults %q, want %q", got, want)
	}
}

func wantKind(t *testing.T, err error, kind trial.Kind, code string) {
	t.Helper()
	var e *trial.Error
	if !errors.As(err, &e) {
		t.Fatalf("got error %v, want kind %d, code %s", err, kind, code)
	}
	if e.Kind != kind || e.Code != code {
		t.Errorf("got kind %d, code %s (%v), want kind %d, code %s", e.Kind, e.Code, err, kind, code)
	}
}

func ptr[T any](v T) *T { return &v }
