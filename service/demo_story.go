package main

import (
	"context"
	"encoding/hex"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"sync/atomic"
	"time"

	"evenrig/openapi"
	"evenrig/service/trial"
)

// story is the demo's club and its season, told request by request.
type story struct {
	url      string
	clock    *storyClock
	out      io.Writer
	rng      *rand.Rand
	requests atomic.Int64

	organiser person
	club      openapi.ClubID
	trial     openapi.TrialID
	anglers   []*player
	fish      int
	pack      []byte // the published package
}

// outingsEach is how many outings every angler has in the season.
const outingsEach = 6

func newStory(url string, clock *storyClock, out io.Writer) *story {
	return &story{url: url, clock: clock, out: out, rng: rand.New(rand.NewPCG(demoSeed, 1<<32))}
}

// play tells the whole story: the club, the rules, the season, the result, its publication. admin is the token of the server's admin.
func (s *story) play(ctx context.Context, admin string) (played, error) {
	for _, part := range []func(context.Context) error{
		func(ctx context.Context) error { return s.found(ctx, admin) }, s.writeRules, s.join, s.season, s.lock,
	} {
		if err := part(ctx); err != nil {
			return played{}, err
		}
	}
	done, err := s.read(ctx)
	if err != nil {
		return done, err
	}
	if err := s.publish(ctx); err != nil {
		return done, err
	}
	done.published, done.requests = fmt.Sprintf("/v1/published/%s", s.trial), int(s.requests.Load())
	return done, nil
}

func (s *story) say(format string, args ...any) { fmt.Fprintf(s.out, format+"\n", args...) }

// found makes the club and its organiser.
func (s *story) found(ctx context.Context, token string) error {
	admin, err := newPerson(s.url, token, &s.requests)
	if err != nil {
		return err
	}
	club, err := admin.api.CreateClubWithResponse(ctx, openapi.NewClub{Name: demoClub})
	if err := expect(club, err, "found the club", 201); err != nil {
		return err
	}
	s.club = club.JSON201.ID
	secret, err := invite(ctx, admin, s.club, trial.Organiser, 1)
	if err != nil {
		return err
	}
	if s.organiser, err = s.accept(ctx, secret, demoOrganiser); err != nil {
		return err
	}
	s.say("%s is founded; %s, its organiser, has a token.", demoClub, demoOrganiser)
	return nil
}

// letIn gives the organiser an address and a password, to sign in with a browser.
func (s *story) letIn(ctx context.Context) error {
	email, password := demoEmail, demoPassword
	set, err := s.organiser.api.PutSignInWithResponse(ctx, openapi.NewSignIn{Email: &email, Password: &password})
	return expect(set, err, "set the organiser's password", 204)
}

func invite(ctx context.Context, by person, club openapi.ClubID, role trial.Role, uses int) (string, error) {
	inv, err := by.api.CreateInvitationWithResponse(ctx, club, openapi.NewInvitation{Role: string(role), Uses: &uses})
	if err := expect(inv, err, "invite", 201); err != nil {
		return "", err
	}
	return inv.JSON201.Secret, nil
}

// accept turns an invitation into a person with a token.
func (s *story) accept(ctx context.Context, secret, name string) (person, error) {
	nobody, err := newPerson(s.url, "", &s.requests)
	if err != nil {
		return person{}, err
	}
	joined, err := nobody.api.AcceptInvitationWithResponse(ctx, openapi.AcceptInvitation{Secret: secret, Name: &name})
	if err := expect(joined, err, "accept an invitation", 201); err != nil {
		return person{}, err
	}
	return newPerson(s.url, *joined.JSON201.Token, &s.requests)
}

// writeRules drafts the protocol from the template, sees what is missing, fills it in and registers it.
func (s *story) writeRules(ctx context.Context) error {
	template, err := s.organiser.api.GetProtocolTemplateWithResponse(ctx)
	if err := expect(template, err, "read the template", 200); err != nil {
		return err
	}
	draft, err := s.organiser.api.CreateTrialWithResponse(ctx, s.club, openapi.NewTrial{Protocol: template.JSON200})
	if err := expect(draft, err, "draft a trial", 201); err != nil {
		return err
	}
	s.trial = draft.JSON201.ID
	early, err := s.move(ctx, trial.Registered, 422)
	if err != nil {
		return err
	}
	s.say("A draft from the template alone is refused with %d faults, each named.", len(early.ApplicationProblemJSON422.Fields))

	var rules trial.Protocol
	if err := decode(template.Body, &rules); err != nil {
		return err
	}
	body, err := wire(demoProtocol(rules))
	if err != nil {
		return err
	}
	kept, err := s.organiser.api.PutProtocolWithResponse(ctx, s.trial, &openapi.PutProtocolParams{IfMatch: `"1"`}, body)
	if err := expect(kept, err, "write the protocol", 200); err != nil {
		return err
	}
	if _, err := s.move(ctx, trial.Registered, 200); err != nil {
		return err
	}
	moved, err := s.move(ctx, trial.Open, 200)
	if err != nil {
		return err
	}
	s.say("“%s” is registered.\n  fingerprint of the rules  %s\n  commitment to the draw    %s", moved.JSON200.Title, *moved.JSON200.Fingerprint, *moved.JSON200.Commitment)
	return nil
}

func (s *story) move(ctx context.Context, to trial.State, wanted int) (*openapi.MoveTrialResponse, error) {
	moved, err := s.organiser.api.MoveTrialWithResponse(ctx, s.trial, openapi.TrialMove{State: string(to)})
	return moved, expect(moved, err, "make the trial "+string(to), wanted)
}

// join brings the anglers in, by one invitation for all of them.
func (s *story) join(ctx context.Context) error {
	secret, err := invite(ctx, s.organiser, s.club, trial.Angler, len(demoAnglers))
	if err != nil {
		return err
	}
	for i, name := range demoAnglers {
		who, err := s.accept(ctx, secret, name)
		if err != nil {
			return err
		}
		p := &player{person: who, story: s, number: i, angler: newDemoAngler(i)}
		for j := range p.code {
			p.code[j] = byte(p.angler.rng.UintN(256))
		}
		p.enrolment = openapi.EnrolmentID(demoRandomID(p.angler.rng))
		enrolled, err := who.api.PutEnrolmentWithResponse(ctx, s.trial, p.enrolment, openapi.NewEnrolment{
			Code: hex.EncodeToString(p.code[:]),
			Consent: openapi.Consent{
				TakePart: true, Store: true, SharePseudonymous: true, LicenceConfirmed: true, AdultOrGuardian: true,
				PublishOpen: true, ContactAgain: i%2 == 0,
			},
		})
		if err := expect(enrolled, err, "enrol "+name, 201); err != nil {
			return err
		}
		s.anglers = append(s.anglers, p)
	}
	s.say("%d anglers accepted their invitations, consented and enrolled, each with random bytes of their own.\n", len(s.anglers))
	return nil
}

// season plays every outing of every angler in the order of their days.
func (s *story) season(ctx context.Context) error {
	for n := range outingsEach {
		order := slices.Clone(s.anglers)
		slices.SortFunc(order, func(a, b *player) int { return demoDay(a.number, n).Compare(demoDay(b.number, n)) })
		for _, p := range order {
			if err := p.fishOuting(ctx, n, demoDay(p.number, n)); err != nil {
				return fmt.Errorf("%s, outing %d: %w", demoAnglers[p.number], n+1, err)
			}
		}
		progress, err := s.organiser.api.GetProgressWithResponse(ctx, s.trial)
		if err := expect(progress, err, "read the progress", 200); err != nil {
			return err
		}
		now := progress.JSON200
		s.say("  until %s: %3d outings (%d blank), %3d of %3d blocks finished, %3d fish recorded", s.clock.now().Format("2 January"),
			now.Outings, now.BlankOutings, now.FinishedBlocks, now.Blocks, now.Catches)
		if n == 0 {
			if err := s.tryToPeek(ctx); err != nil {
				return err
			}
		}
	}
	return nil
}

// tryToPeek shows that the running effect stays hidden from the organiser too.
func (s *story) tryToPeek(ctx context.Context) error {
	peek, err := s.organiser.api.RequestAnalysisWithResponse(ctx, s.trial)
	if err := expect(peek, err, "ask for an early analysis", 409); err != nil {
		return err
	}
	s.say("    (%s asks for a first result and gets: %s)", demoOrganiser, peek.ApplicationProblemJSON409.Detail)
	return nil
}

// lock closes the trial, waits out the time in which fish noted late may arrive, and locks it.
func (s *story) lock(ctx context.Context) error {
	s.clock.set(demoStart.AddDate(0, 2, 0))
	if _, err := s.move(ctx, trial.Closed, 200); err != nil {
		return err
	}
	if _, err := s.move(ctx, trial.Locked, 409); err != nil {
		return err
	}
	s.clock.set(demoStart.AddDate(0, 2, 4))
	locked, err := s.move(ctx, trial.Locked, 200)
	if err != nil {
		return err
	}
	s.say("\nClosed, and locked four days later: the records are fixed and the seed of the draw is open:\n  %s", *locked.JSON200.Seed)
	return nil
}

// read waits for the closing analysis.
func (s *story) read(ctx context.Context) (played, error) {
	path := fmt.Sprintf("/v1/trials/%s", s.trial)
	done := played{trial: path, analysis: path + "/analyses/1", organiser: s.organiser.token}
	for range 600 {
		a, err := s.organiser.api.GetAnalysisWithResponse(ctx, s.trial, 1, nil)
		if err := expect(a, err, "read the closing analysis", 200, 202); err != nil {
			return done, err
		}
		if a.StatusCode() == 200 {
			report, err := s.organiser.api.GetReportWithResponse(ctx, s.trial, 1)
			if err := expect(report, err, "read the report", 200); err != nil {
				return done, err
			}
			done.result, done.page = a.Body, report.Body
			return done, nil
		}
		select {
		case <-ctx.Done():
			return done, ctx.Err()
		case <-time.After(100 * time.Millisecond):
		}
	}
	return done, fmt.Errorf("the closing analysis was not done within a minute")
}

// wire turns a protocol into the contract's type; both have the same JSON.
func wire(p trial.Protocol) (openapi.Protocol, error) {
	var body openapi.Protocol
	text, err := jsonOf(p)
	if err != nil {
		return body, err
	}
	return body, decode(text, &body)
}
