package conduct_test

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"

	"evenrig/service/conduct"
	"evenrig/service/exchange"
	"evenrig/service/trial"
)

// call is one use case as somebody asks for it: the trial (or club) and whatever else it takes are the target's.
type call func(w *world, who trial.Actor, at target) (answer any, err error)

// target names the records that somebody asks for.
type target struct {
	club, trial, outing, unit, period, catch, deviation, invitation, member, handover, enrolment, dispute trial.ID
	analysis                                                                                              int
}

// calls holds every use case that takes an actor and something that belongs to a club, by the method's name.
var calls = map[string]call{
	"Club": func(w *world, who trial.Actor, at target) (any, error) { return w.s.Club(w.ctx, who, at.club) },
	"Members": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.Members(w.ctx, who, at.club, everything)
	},
	"Invitations": func(w *world, who trial.Actor, at target) (any, error) { return w.s.Invitations(w.ctx, who, at.club) },
	"Invite": func(w *world, who trial.Actor, at target) (any, error) {
		i, secret, err := w.s.Invite(w.ctx, who, at.club, trial.Angler, 1, "")
		if err != nil {
			return nil, err
		}
		return []any{i, secret}, err
	},
	"RevokeInvitation": func(w *world, who trial.Actor, at target) (any, error) {
		return nil, w.s.RevokeInvitation(w.ctx, who, at.club, at.invitation)
	},
	"RemoveMember": func(w *world, who trial.Actor, at target) (any, error) {
		return nil, w.s.RemoveMember(w.ctx, who, at.club, at.member)
	},
	"MakeMemberReset": func(w *world, who trial.Actor, at target) (any, error) {
		l, secret, err := w.s.MakeMemberReset(w.ctx, who, at.club, at.member)
		if err != nil {
			return nil, err
		}
		return []any{l, secret}, nil
	},
	"ClubEvents": func(w *world, who trial.Actor, at target) (any, error) { return w.s.ClubEvents(w.ctx, who, at.club) },
	"Handovers":  func(w *world, who trial.Actor, at target) (any, error) { return w.s.Handovers(w.ctx, who, at.club) },
	"OfferRole": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.OfferRole(w.ctx, who, at.club, at.member)
	},
	"TakeRole": func(w *world, who trial.Actor, at target) (any, error) {
		return nil, w.s.TakeRole(w.ctx, who, at.club, at.handover)
	},
	"EndOffer": func(w *world, who trial.Actor, at target) (any, error) {
		return nil, w.s.EndOffer(w.ctx, who, at.club, at.handover)
	},
	"Trials": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.Trials(w.ctx, who, at.club, everything)
	},
	"CreateTrial": func(w *world, who trial.Actor, at target) (any, error) {
		v, err := w.s.CreateTrial(w.ctx, who, at.club, ruleSheet())
		if err != nil {
			return nil, err // what comes back is what was sent
		}
		return v, nil
	},
	"Trial": func(w *world, who trial.Actor, at target) (any, error) { return w.s.Trial(w.ctx, who, at.trial) },
	"Looks": func(w *world, who trial.Actor, at target) (any, error) { return w.s.Looks(w.ctx, who, at.trial) },
	"Note":  func(w *world, who trial.Actor, at target) (any, error) { return w.s.Note(w.ctx, who, at.trial) },
	"Protocol": func(w *world, who trial.Actor, at target) (any, error) {
		v, err := w.s.Protocol(w.ctx, who, at.trial)
		if v.Fingerprint == sha256.Sum256(nil) {
			v.Fingerprint = trial.Digest{} // of nothing
		}
		return v, err
	},
	"WriteProtocol": func(w *world, who trial.Actor, at target) (any, error) {
		v, err := w.s.WriteProtocol(w.ctx, who, at.trial, 1, ruleSheet())
		if err != nil {
			return nil, err // what comes back is what was sent
		}
		return v, nil
	},
	"MoveTrial": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.MoveTrial(w.ctx, who, at.trial, trial.Paused, "just so")
	},
	"Enrol": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.Enrol(w.ctx, who, at.trial, trial.Enrolment{ID: w.randomID(), Code: [32]byte{1}, Consent: allTicks})
	},
	"Enrolment":  func(w *world, who trial.Actor, at target) (any, error) { return w.s.Enrolment(w.ctx, who, at.trial) },
	"Enrolments": func(w *world, who trial.Actor, at target) (any, error) { return w.s.Enrolments(w.ctx, who, at.trial) },
	"Withdraw": func(w *world, who trial.Actor, at target) (any, error) {
		return nil, w.s.Withdraw(w.ctx, who, at.trial, true)
	},
	"OpenOuting": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.OpenOuting(w.ctx, who, at.trial, trial.Outing{ID: w.id(), Water: "Upper Wend", StartedAt: w.clock.read()})
	},
	"EndOuting": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.EndOuting(w.ctx, who, at.trial, at.outing, trial.OutingEnd{EndedAt: w.clock.read(), Reason: "planned"})
	},
	"Outing": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.Outing(w.ctx, who, at.trial, at.outing)
	},
	"Outings": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.Outings(w.ctx, who, at.trial, everything)
	},
	"FetchUnit": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.FetchUnit(w.ctx, who, at.trial, at.unit)
	},
	"KeepUnit": func(w *world, who trial.Actor, at target) (any, error) {
		now := w.clock.read()
		return w.s.KeepUnit(w.ctx, who, at.trial, trial.Unit{ID: w.id(), DrawnBy: trial.ByCoin, First: trial.TestLower, DrawnAt: &now})
	},
	"LoseUnit": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.LoseUnit(w.ctx, who, at.trial, at.unit, w.clock.read())
	},
	"Noters":   func(w *world, who trial.Actor, at target) (any, error) { return w.s.Noters(w.ctx, who, at.trial) },
	"NotedFor": func(w *world, who trial.Actor, at target) (any, error) { return w.s.NotedFor(w.ctx, who, at.trial) },
	"SetNoters": func(w *world, who trial.Actor, at target) (any, error) {
		return nil, w.s.SetNoters(w.ctx, who, at.trial, nil)
	},
	"BringGuest": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.BringGuest(w.ctx, who, at.trial, trial.Enrolment{ID: w.randomID(), Code: [32]byte{1}, Consent: allTicks})
	},
	"Flies": func(w *world, who trial.Actor, at target) (any, error) { return w.s.Flies(w.ctx, who, at.trial) },
	"AddFlies": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.AddFlies(w.ctx, who, at.trial, septemberFlies, 1, 3)
	},
	"InspectFlies": func(w *world, who trial.Actor, at target) (any, error) {
		return nil, w.s.InspectFlies(w.ctx, who, at.trial, 1, true, "")
	},
	"MoveFlies": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.MoveFlies(w.ctx, who, at.trial, trial.FlyMove{Code: "0000-0000", Kind: trial.LostAll})
	},
	"TypeCard": func(w *world, who trial.Actor, at target) (any, error) {
		card := pocketCard(w.clock.read(), trial.TestLower)
		card.Rounds = card.Rounds[1:]
		view, err := w.s.TypeCard(w.ctx, who, at.trial, int(w.id()[15])+1, card)
		return view, err
	},
	"Cards": func(w *world, who trial.Actor, at target) (any, error) { return w.s.Cards(w.ctx, who, at.trial) },
	"PrintSlips": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.PrintSlips(w.ctx, who, at.trial, at.enrolment, 4)
	},
	"SlipSheets": func(w *world, who trial.Actor, at target) (any, error) { return w.s.SlipSheets(w.ctx, who, at.trial) },
	"Units":      func(w *world, who trial.Actor, at target) (any, error) { return w.s.Units(w.ctx, who, at.trial) },
	"BeginPeriod": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.BeginPeriod(w.ctx, who, at.trial, trial.Period{ID: w.id(), OutingID: at.outing, UnitID: at.unit, Half: 2, StartedAt: w.clock.read()})
	},
	"EndPeriod": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.EndPeriod(w.ctx, who, at.trial, at.period, trial.PeriodEnd{EndedAt: w.clock.read(), Reason: "other"})
	},
	"Period": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.Period(w.ctx, who, at.trial, at.period)
	},
	"Periods": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.Periods(w.ctx, who, at.trial, at.outing)
	},
	"ReportDeviation": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.ReportDeviation(w.ctx, who, at.trial, trial.Deviation{ID: w.id(), OutingID: at.outing, Kind: trial.OffTrial, FromAt: w.clock.read()})
	},
	"Deviation": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.Deviation(w.ctx, who, at.trial, at.deviation)
	},
	"Deviations": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.Deviations(w.ctx, who, at.trial, at.outing)
	},
	"SubmitCatch": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.SubmitCatch(w.ctx, who, at.trial, stray(w, at))
	},
	"SubmitBatch": func(w *world, who trial.Actor, at target) (any, error) {
		outcomes, err := w.s.SubmitBatch(w.ctx, who, at.trial, []trial.Catch{stray(w, at)})
		if err != nil {
			return nil, err
		}
		return outcomes[0].View, outcomes[0].Err
	},
	"Catch": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.Catch(w.ctx, who, at.trial, at.catch)
	},
	"Catches": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.Catches(w.ctx, who, at.trial, everything)
	},
	"AmendCatch": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.AmendCatch(w.ctx, who, at.trial, at.catch, conduct.Correction{Seen: 1, Reason: "just so", Patch: []byte(`{"note":"mine"}`)})
	},
	"AmendOuting": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.AmendOuting(w.ctx, who, at.trial, at.outing, conduct.Correction{Seen: 1, Reason: "just so", Patch: []byte(`{"note":"mine"}`)})
	},
	"MeasureWater": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.MeasureWater(w.ctx, who, at.trial, trial.Temperature{ID: w.id(), OutingID: at.outing, At: w.clock.read(), Water: trial.Measure{Value: 12, Unit: "C"}})
	},
	"Temperatures": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.Temperatures(w.ctx, who, at.trial, at.outing)
	},
	"OverrideWelfare": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.OverrideWelfare(w.ctx, who, at.trial, "000000", trial.WelfareOverride{Day: "2026-09-01", Reason: "a spring-fed stretch"})
	},
	"WelfareOverrides": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.WelfareOverrides(w.ctx, who, at.trial)
	},
	"AmendProtocol": func(w *world, who trial.Actor, at target) (any, error) {
		p := ruleSheet()
		p.SeasonEnd = "2026-12-15"
		return w.s.AmendProtocol(w.ctx, who, at.trial, 1, p, "three weeks of flood")
	},
	"ProtocolVersions": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.ProtocolVersions(w.ctx, who, at.trial)
	},
	"ProtocolVersion": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.ProtocolVersion(w.ctx, who, at.trial, 1)
	},
	"FileDispute": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.FileDispute(w.ctx, who, at.trial, at.catch, "hooked on the walk back")
	},
	"DecideDispute": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.DecideDispute(w.ctx, who, at.trial, at.dispute, trial.DisputeDecision{Decision: trial.Exclude, Reason: "not a cast of the trial"})
	},
	"Disputes": func(w *world, who trial.Actor, at target) (any, error) { return w.s.Disputes(w.ctx, who, at.trial) },
	"AmendPeriod": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.AmendPeriod(w.ctx, who, at.trial, at.period, conduct.Correction{Seen: 1, Reason: "just so", Patch: []byte(`{"confirmed":false}`)})
	},
	"Amendments": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.Amendments(w.ctx, who, at.trial, at.catch)
	},
	"Progress": func(w *world, who trial.Actor, at target) (any, error) { return w.s.Progress(w.ctx, who, at.trial) },
	"ImportTable": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.ImportTable(w.ctx, who, at.trial, strings.NewReader("lower_pattern,taken_pattern\nC,N\n"), false)
	},
	"ExportCatches": func(w *world, who trial.Actor, at target) (any, error) {
		var table bytes.Buffer
		err := w.s.ExportCatches(w.ctx, who, at.trial, &table)
		return table.String(), err
	},
	"ExportWorkbook": func(w *world, who trial.Actor, at target) (any, error) {
		var book bytes.Buffer
		err := w.s.ExportWorkbook(w.ctx, who, at.trial, &book)
		return book.String(), err
	},
	"RequestAnalysis": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.RequestAnalysis(w.ctx, who, at.trial)
	},
	"Analysis": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.Analysis(w.ctx, who, at.trial, at.analysis)
	},
	"AnalysisJob": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.AnalysisJob(w.ctx, who, at.trial, 1)
	},
	"CancelAnalysis": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.CancelAnalysis(w.ctx, who, at.trial, 1)
	},
	"Analyses": func(w *world, who trial.Actor, at target) (any, error) { return w.s.Analyses(w.ctx, who, at.trial) },
	"Report": func(w *world, who trial.Actor, at target) (any, error) {
		var page bytes.Buffer
		err := w.s.Report(w.ctx, who, at.trial, at.analysis, conduct.ReportPage, &page)
		return page.String(), err
	},
	"Guess": func(w *world, who trial.Actor, at target) (any, error) {
		return nil, w.s.Guess(w.ctx, who, at.trial, 60)
	},
	"Guesses":   func(w *world, who trial.Actor, at target) (any, error) { return w.s.Guesses(w.ctx, who, at.trial) },
	"DrawNight": func(w *world, who trial.Actor, at target) (any, error) { return w.s.DrawNight(w.ctx, who, at.trial) },
	"GiveWord": func(w *world, who trial.Actor, at target) (any, error) {
		v, _, err := w.s.GiveWord(w.ctx, who, at.trial, "Nebel")
		return v, err
	},
	"CloseDrawNight": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.CloseDrawNight(w.ctx, who, at.trial)
	},
	"Checkpoints": func(w *world, who trial.Actor, at target) (any, error) { return w.s.Checkpoints(w.ctx, who, at.trial) },
	"HandedOut":   func(w *world, who trial.Actor, at target) (any, error) { return w.s.HandedOut(w.ctx, who, at.trial) },
	"PublishTrial": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.PublishTrial(w.ctx, who, at.trial, conduct.NewPublication{Licence: exchange.CC0})
	},
	"Publications": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.Publications(w.ctx, who, at.trial)
	},
	"CreateRepeat": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.CreateRepeat(w.ctx, who, at.club, at.trial)
	},
	"ReadPackage": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.ReadPackage(w.ctx, who, at.club, strings.NewReader("no package"))
	},
	"ChangeConsent": func(w *world, who trial.Actor, at target) (any, error) {
		yes := true
		return w.s.ChangeConsent(w.ctx, who, at.trial, conduct.ConsentChange{PublishOpen: &yes})
	},
	"ConfirmGuardian": func(w *world, who trial.Actor, at target) (any, error) {
		return nil, w.s.ConfirmGuardian(w.ctx, who, at.trial, at.enrolment)
	},
	"MaskedLog": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.MaskedLog(w.ctx, who, at.trial, "", 1000)
	},
	"Outstanding": func(w *world, who trial.Actor, at target) (any, error) { return w.s.Outstanding(w.ctx, who, at.trial) },
	"DeclareCardsIn": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.DeclareCardsIn(w.ctx, who, at.trial, "twelve cards lie here")
	},
	"Questions": func(w *world, who trial.Actor, at target) (any, error) { return w.s.Questions(w.ctx, who, at.trial) },
	"Ask": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.Ask(w.ctx, who, at.trial, "Who tied the flies?")
	},
	"Answer": func(w *world, who trial.Actor, at target) (any, error) {
		return w.s.Answer(w.ctx, who, at.trial, 1, "One of us, all of them.")
	},
}

func stray(w *world, at target) trial.Catch {
	return trial.Catch{
		ID: w.id(), PeriodID: at.period, TakenPattern: "C", Outcome: trial.Landed, RigIntact: true, Species: "Thymallus thymallus", Origin: trial.Wild,
		CaughtAt: w.clock.read(), NotedAt: w.clock.read(),
	}
}

// ownOnly are the use cases that have nothing of a club's in them: one's own account, the server's jobs and its checks.
var ownOnly = []string{
	"AcceptInvitation", "Authenticate", "AuthenticateSession", "BecomeFirstAdmin", "Close", "Clubs", "CreateClub", "CreateToken", "EndSession", "EraseAccount", "Events",
	"FirstAdmin", "FirstAdminLink", "MakeReset", "Me", "NewID", "Now", "OwnData", "Ready", "RevokeToken", "RotateSession", "Sessions", "SetSignIn", "SignIn", "SignOut", "Tokens", "UseReset",
	"Analyse", "Check", "Checkpoint", "LookWhenDue", "Jobs", "Warnings", "Upkeep", "RetryJob", "CancelJob", "Drain", "Draining", "Waiting", "FindFish", "MakePackage", "OpenPackage", "Published", "PublishedReport", "PublishedResult", "PublishedRules", "PublishedWorkbook", "Recompute", "Register", "Rekey", "AnalyseTable", "PlanSize", "UsualSize",
}

// Every exported method stands in one of the two lists above, so that a new one is tested too.
func TestEveryUseCaseIsCalled(t *testing.T) {
	t.Parallel()
	for m := range reflect.TypeFor[*conduct.Service]().Methods() {
		if calls[m.Name] == nil && !slices.Contains(ownOnly, m.Name) {
			t.Errorf("%s is in neither list", m.Name)
		}
	}
}

// everyRecord is a club with a trial that has one of everything in it.
func everyRecord(w *world, name string) (*contest, target) {
	e := w.newClub(name, 3).opened(ruleSheet())
	r, outing, unit, period := e.inAPeriod(e.anglers[0])
	fish := r.land(period, "C")
	d := trial.Deviation{ID: w.id(), OutingID: outing, PeriodID: period, Kind: trial.CouldNotSwap, FromAt: w.clock.read()}
	_, err := w.s.ReportDeviation(w.ctx, r.actor, e.trial, d)
	w.ok(err)
	i, _, err := w.s.Invite(w.ctx, e.organiser, e.id, trial.Angler, 5, "")
	w.ok(err)
	h, err := w.s.OfferRole(w.ctx, e.organiser, e.id, e.anglers[1].AccountID)
	w.ok(err)
	filed := must(w.s.FileDispute(w.ctx, e.eyes, e.trial, outing, "fished with a third fly"))(w.t)
	return e, target{
		club: e.id, dispute: filed.Dispute.ID, trial: e.trial, outing: outing, unit: unit, period: period, catch: fish.ID, deviation: d.ID, invitation: i.ID,
		member: e.anglers[2].AccountID, handover: h.ID, enrolment: r.enrolment, analysis: 1,
	}
}

// nothing is a target that does not exist.
func nothing(w *world) target {
	return target{
		club: w.id(), dispute: w.id(), trial: w.id(), outing: w.id(), unit: w.id(), period: w.id(), catch: w.id(), deviation: w.id(), invitation: w.id(),
		member: w.id(), handover: w.id(), enrolment: w.randomID(), analysis: 1,
	}
}

// A member of one club sees nothing of another's: whoever asks, in whatever role, also a server's admin, every use case
// answers as for something that does not exist, with nothing in the answer.
func TestAnotherClubIsNotThere(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	_, here := everyRecord(w, "Wend Grayling Club")
	other, _ := everyRecord(w, "Mill Reach Anglers")
	enrolled := other.anglers[0]
	none := nothing(w)
	for name, ask := range calls {
		for _, who := range []struct {
			role  string
			actor trial.Actor
		}{
			{"organiser", other.organiser}, {"auditor", other.eyes}, {"angler", enrolled}, {"member", other.anglers[2]}, {"admin", w.newAdmin("admin")}, {"nobody", trial.Actor{}},
		} {
			t.Run(fmt.Sprintf("%s by %s", name, who.role), func(t *testing.T) {
				answer, err := ask(w, who.actor, here)
				wantKind(t, err, trial.NotFound, "not_found")
				if holds(answer) {
					t.Errorf("the answer holds %+v", answer)
				}
				_, missing := ask(w, who.actor, none)
				if theirs, absent := told(err), told(missing); theirs != absent {
					t.Errorf("theirs: %s; what is not there: %s", theirs, absent)
				}
			})
		}
	}
}

// holds reports whether there is anything in an answer.
func holds(answer any) bool {
	v := reflect.ValueOf(answer)
	return v.IsValid() && !v.IsZero() && !(v.Kind() == reflect.Slice && v.Len() == 0)
}

// told is what a user is told of a failure; what it is wrapped in goes to the log.
func told(err error) string {
	var e *trial.Error
	if !errors.As(err, &e) {
		return fmt.Sprint(err)
	}
	return fmt.Sprintf("%s: %s %v", e.Code, e.Detail, e.Fields)
}

// In one's own club the role decides. The table says who gets past the question of the role; what then goes wrong for
// other reasons (not joined, not due) is no matter here.
func TestRolesAreAsked(t *testing.T) {
	t.Parallel()
	const organiser, angler, auditor = 1, 2, 4
	want := map[string]int{
		"Club": organiser | angler | auditor, "Members": organiser | angler | auditor, "Invitations": organiser, "Invite": organiser, "RevokeInvitation": organiser,
		"RemoveMember": organiser, "MakeMemberReset": organiser, "ClubEvents": organiser | auditor, "Handovers": organiser | angler | auditor,
		"OfferRole": organiser, "TakeRole": angler | auditor, "EndOffer": organiser | angler | auditor,
		"Trials": organiser | angler | auditor, "CreateTrial": organiser, "Trial": organiser | angler | auditor, "Protocol": organiser | angler | auditor,
		"WriteProtocol": organiser, "MoveTrial": organiser, "Enrol": organiser | angler, "Enrolment": organiser | angler, "Enrolments": organiser,
		"Withdraw": organiser | angler, "OpenOuting": organiser | angler, "EndOuting": organiser | angler, "Outing": organiser | angler, "Outings": organiser | angler,
		"KeepUnit": organiser | angler, "LoseUnit": organiser | angler, "Noters": organiser | angler, "NotedFor": organiser | angler, "SetNoters": organiser | angler, "BringGuest": organiser | angler,
		"Flies": organiser | angler | auditor, "AddFlies": organiser, "InspectFlies": organiser | angler | auditor, "MoveFlies": organiser,
		"TypeCard": organiser | angler, "Cards": organiser | auditor, "Outstanding": organiser, "DeclareCardsIn": organiser,
		"PrintSlips": organiser | angler | auditor, "SlipSheets": organiser | angler | auditor,
		"FetchUnit": organiser | angler, "Units": organiser | angler, "BeginPeriod": organiser | angler, "EndPeriod": organiser | angler, "Period": organiser | angler,
		"Periods": organiser | angler, "ReportDeviation": organiser | angler, "Deviation": organiser | angler, "Deviations": organiser | angler,
		"Catch": organiser | angler, "Catches": organiser | angler, "AmendCatch": organiser | angler, "AmendPeriod": organiser | angler, "Amendments": organiser | angler,
		"Progress": organiser | angler | auditor, "Looks": organiser | angler | auditor, "AnalysisJob": organiser | angler | auditor, "CancelAnalysis": organiser, "Note": organiser | angler | auditor, "ImportTable": organiser, "ExportCatches": organiser | auditor, "ExportWorkbook": organiser | auditor, "RequestAnalysis": organiser,
		"Analysis": organiser | angler | auditor, "Analyses": organiser | angler | auditor, "Report": organiser | angler | auditor, "Checkpoints": organiser | angler | auditor,
		"ChangeConsent": organiser | angler, "ConfirmGuardian": organiser, "MaskedLog": organiser | angler | auditor,
		"Guess": organiser | angler, "Guesses": organiser | angler | auditor,
		"Questions": organiser | angler | auditor, "Ask": organiser | angler | auditor, "Answer": organiser,
		"DrawNight": organiser | angler | auditor, "GiveWord": organiser | angler | auditor, "CloseDrawNight": organiser,
		"AmendOuting": organiser | angler, "MeasureWater": organiser | angler, "Temperatures": organiser | angler, "OverrideWelfare": organiser,
		"WelfareOverrides": organiser | angler | auditor, "AmendProtocol": organiser, "ProtocolVersions": organiser | angler | auditor,
		"ProtocolVersion": organiser | angler | auditor, "FileDispute": organiser | angler | auditor, "DecideDispute": organiser | angler | auditor,
		"Disputes":    organiser | angler | auditor,
		"SubmitCatch": organiser | angler, "SubmitBatch": organiser | angler,
		"HandedOut": organiser | auditor, "PublishTrial": organiser, "Publications": organiser | angler | auditor, "CreateRepeat": organiser, "ReadPackage": organiser,
	}
	// What ends something for those who come after it is asked last.
	names := slices.SortedFunc(maps.Keys(calls), func(a, b string) int {
		last := func(name string) int {
			return slices.Index([]string{"RevokeInvitation", "MoveTrial", "Withdraw", "EndOffer", "TakeRole", "OfferRole", "RemoveMember"}, name)
		}
		return cmp.Or(cmp.Compare(last(a), last(b)), cmp.Compare(a, b))
	})
	// The role alone decides, whatever state the trial is in.
	paths := map[trial.State][]trial.State{trial.Open: nil, trial.Closed: {trial.Closed}, trial.Locked: {trial.Locked}, trial.Abandoned: {trial.Abandoned}}
	for state, path := range paths {
		for role, bit := range map[trial.Role]int{trial.Organiser: organiser, trial.Angler: angler, trial.Auditor: auditor} {
			w := newWorld(t)
			e, at := everyRecord(w, "Wend Grayling Club")
			who := map[trial.Role]trial.Actor{trial.Organiser: e.organiser, trial.Angler: e.anglers[1], trial.Auditor: e.eyes}[role]
			for _, to := range path {
				if to == trial.Locked {
					e.lock()
				} else {
					e.move(to)
				}
			}
			for _, name := range names {
				_, err := calls[name](w, who, at)
				may := want[name]&bit != 0
				if (trial.KindOf(err) == trial.Forbidden && err != nil) == may {
					t.Errorf("%s by %s while %s: %v; may it be asked: %t", name, role, state, err, may)
				}
				if err != nil && trial.KindOf(err) == trial.Internal {
					t.Errorf("%s by %s while %s: an internal failure: %v", name, role, state, err)
				}
			}
		}
	}
}
