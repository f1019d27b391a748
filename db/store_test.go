package db_test

import (
	"context"
	"testing"

	"evenrig/db/dbtest"
	"evenrig/service/trial"
)

func TestReady(t *testing.T) {
	t.Parallel()
	if err := dbtest.New(t).Ready(t.Context()); err != nil {
		t.Error(err)
	}
}

func TestRead(t *testing.T) {
	s := dbtest.New(t)
	err := s.InReadTx(t.Context(), func(ctx context.Context, tx trial.ReadTx) error {
		_, err := tx.TrialBy(ctx, trial.ID{1})
		return err
	})
	if trial.KindOf(err) != trial.NotFound {
		t.Error(err)
	}
}
