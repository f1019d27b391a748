package main

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"time"

	"evenrig/openapi"
	"evenrig/service/exchange"
)

// publish makes the trial everybody's: the organiser asks for its package, a stranger downloads it and works it out again.
func (s *story) publish(ctx context.Context) error {
	remarks := "Thanks to everybody who fished and wrote down."
	asked, err := s.organiser.api.PublishTrialWithResponse(ctx, s.trial, openapi.NewPublication{Licence: exchange.CCBY4, NameClub: true, Remarks: &remarks})
	if err := expect(asked, err, "publish the trial", 202); err != nil {
		return err
	}
	if err := s.published(ctx); err != nil {
		return err
	}
	stranger, err := newPerson(s.url, "", &s.requests)
	if err != nil {
		return err
	}
	page, err := stranger.api.GetPublishedWithResponse(ctx, s.trial)
	if err := expect(page, err, "read the published trial", 200); err != nil {
		return err
	}
	pack, err := stranger.api.GetPackageWithResponse(ctx, s.trial, nil)
	if err := expect(pack, err, "download the package", 200); err != nil {
		return err
	}
	verdict, err := verifyBytes(pack.Body)
	if err != nil {
		return err
	}
	s.pack = pack.Body
	s.say("\nPublished under %s, a package of %d kB with the SHA-256\n  %s", page.JSON200.Licence, (len(pack.Body)+999)/1000, *page.JSON200.Package)
	s.say("A stranger downloads it and works it out again from the file alone (evenrig verify):\n  %s", verdict.Conclusion())
	for _, f := range verdict.Findings {
		if f.Part == "result" && f.Outcome == exchange.Agrees {
			s.say("  %s", strings.Join(fill(f.Text, 76), "\n  "))
		}
	}
	if !verdict.Agrees() {
		return fmt.Errorf("the package does not agree with itself: %+v", verdict.Findings)
	}
	return nil
}

// verifyBytes verifies a package in memory.
func verifyBytes(b []byte) (exchange.Verdict, error) {
	p, err := exchange.ReadPackage(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return exchange.Verdict{}, fmt.Errorf("read the package: %w", err)
	}
	return exchange.Verify(p, exchange.VerifyOptions{ProgramVersion: programVersion()})
}

// published waits for the edition that was asked for.
func (s *story) published(ctx context.Context) error {
	for range 600 {
		editions, err := s.organiser.api.ListEditionsWithResponse(ctx, s.trial)
		if err := expect(editions, err, "read the editions", 200); err != nil {
			return err
		}
		switch e := editions.JSON200.Items[0]; e.State {
		case openapi.EditionStateStanding:
			return nil
		case openapi.EditionStateFailed:
			return fmt.Errorf("the package could not be made: %s", e.Failure)
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(100 * time.Millisecond):
		}
	}
	return fmt.Errorf("the package was not made within a minute")
}
