package api

import (
	"cmp"
	"context"
	"fmt"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// GetProtocolTemplate returns the usual protocol.
func (h *handlers) GetProtocolTemplate(context.Context, openapi.GetProtocolTemplateRequestObject) (openapi.GetProtocolTemplateResponseObject, error) {
	p, err := recode[openapi.Protocol](trial.Template())
	return openapi.GetProtocolTemplate200JSONResponse(p), err
}

// CreateTrial drafts a trial.
func (h *handlers) CreateTrial(ctx context.Context, r openapi.CreateTrialRequestObject) (openapi.CreateTrialResponseObject, error) {
	view, err := h.draft(ctx, r)
	if err != nil {
		return nil, err
	}
	return openapi.CreateTrial201JSONResponse{
		Body:    trialFrom(view),
		Headers: openapi.CreateTrial201ResponseHeaders{Location: fmt.Sprintf("/v1/trials/%s", view.Trial.ID)},
	}, nil
}

// draft drafts a trial from a protocol, or from a published trial that it repeats.
func (h *handlers) draft(ctx context.Context, r openapi.CreateTrialRequestObject) (conduct.TrialView, error) {
	if (r.Body.Protocol == nil) == (r.Body.RepeatOf == nil) {
		var f trial.Faults
		f.Add("protocol", "and repeat_of: accepted: one of the two")
		return conduct.TrialView{}, f.Err("request.invalid", "the request has faults")
	}
	if r.Body.RepeatOf != nil {
		return h.service.CreateRepeat(ctx, actorOf(ctx), trial.ID(r.Club), trial.ID(*r.Body.RepeatOf))
	}
	p, err := recode[trial.Protocol](r.Body.Protocol)
	if err != nil {
		return conduct.TrialView{}, err
	}
	return h.service.CreateTrial(ctx, actorOf(ctx), trial.ID(r.Club), p)
}

// ListTrials lists a club's trials.
func (h *handlers) ListTrials(ctx context.Context, r openapi.ListTrialsRequestObject) (openapi.ListTrialsResponseObject, error) {
	p, err := pageOf(r.Params.After, r.Params.Limit)
	if err != nil {
		return nil, err
	}
	trials, err := h.service.Trials(ctx, actorOf(ctx), trial.ID(r.Club), p.toTrial())
	if err != nil {
		return nil, err
	}
	trials, next := cut(p, trials, func(t trial.Trial) trial.ID { return t.ID }, "/v1/clubs/%s/trials", r.Club)
	return openapi.ListTrials200JSONResponse{
		Body: openapi.TrialList{Items: each(trials, func(t trial.Trial) openapi.TrialSummary {
			return openapi.TrialSummary{
				ID: openapi_types.UUID(t.ID), Title: t.Title, State: openapi.TrialState(t.State), Design: openapi.Design(t.Design), Source: openapi.Source(t.Source),
				CreatedAt: t.CreatedAt, RegisteredAt: t.RegisteredAt, ClosedAt: t.ClosedAt, LockedAt: t.LockedAt, Hidden: t.Hidden(),
			}
		})},
		Headers: openapi.ListTrials200ResponseHeaders{Link: next},
	}, nil
}

// GetTrial returns a trial.
func (h *handlers) GetTrial(ctx context.Context, r openapi.GetTrialRequestObject) (openapi.GetTrialResponseObject, error) {
	view, err := h.service.Trial(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.GetTrial200JSONResponse(trialFrom(view)), nil
}

// GetProtocol returns a trial's protocol.
func (h *handlers) GetProtocol(ctx context.Context, r openapi.GetProtocolRequestObject) (openapi.GetProtocolResponseObject, error) {
	view, err := h.service.Protocol(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	p, err := recode[openapi.Protocol](view.Protocol)
	return openapi.GetProtocol200JSONResponse{Body: p, Headers: openapi.GetProtocol200ResponseHeaders{ETag: etag(view.Revision)}}, err
}

// PutProtocol rewrites a draft's protocol.
func (h *handlers) PutProtocol(ctx context.Context, r openapi.PutProtocolRequestObject) (openapi.PutProtocolResponseObject, error) {
	seen, err := seenVersion(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	p, err := recode[trial.Protocol](*r.Body)
	if err != nil {
		return nil, err
	}
	view, err := h.service.WriteProtocol(ctx, actorOf(ctx), trial.ID(r.Trial), seen, p)
	if err != nil {
		return nil, err
	}
	return openapi.PutProtocol200JSONResponse{Body: *r.Body, Headers: openapi.PutProtocol200ResponseHeaders{ETag: etag(view.Revision)}}, nil
}

// MoveTrial takes a trial to its next state.
func (h *handlers) MoveTrial(ctx context.Context, r openapi.MoveTrialRequestObject) (openapi.MoveTrialResponseObject, error) {
	view, err := h.service.MoveTrial(ctx, actorOf(ctx), trial.ID(r.Trial), trial.State(r.Body.State), or(r.Body.Reason, ""))
	if err != nil {
		return nil, err
	}
	return openapi.MoveTrial200JSONResponse(trialFrom(view)), nil
}

// GetProgress returns how far a trial is.
func (h *handlers) GetProgress(ctx context.Context, r openapi.GetProgressRequestObject) (openapi.GetProgressResponseObject, error) {
	p, err := h.service.Progress(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	excluded := make(map[string]int64, len(p.Excluded))
	for reason, n := range p.Excluded {
		excluded[string(reason)] = n
	}
	return openapi.GetProgress200JSONResponse{
		Anglers: p.Effort.Enrolled, Outings: p.Effort.Outings, BlankOutings: p.Effort.BlankOutings, Blocks: p.Effort.Blocks,
		FinishedBlocks: p.Effort.FinishedBlocks, Catches: p.Catches, Analysed: p.Analysed, InFinishedBlocks: p.Finished, NextLook: p.NextLook, Excluded: excluded,
		NotLogged: p.Effort.NotLogged, Deviations: p.Effort.Deviations, LateNoted: p.Effort.LateNoted,
		ErasedAnglers: p.Effort.ErasedAnglers, ErasedFish: p.Effort.ErasedFish,
		PhoneBlocks: p.Effort.PhoneBlocks, SlipBlocks: p.Effort.SlipBlocks, CoinBlocks: p.Effort.CoinBlocks, LostUnits: p.Effort.LostUnits, Guests: p.Effort.Guests, TypedFish: p.Effort.TypedFish, Cards: p.Effort.Cards,
	}, nil
}

// GetNote returns the week in a few lines.
func (h *handlers) GetNote(ctx context.Context, r openapi.GetNoteRequestObject) (openapi.GetNoteResponseObject, error) {
	note, err := h.service.Note(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.GetNote200TextResponse(note), nil
}

// ListLooks lists the looks made at a trial.
func (h *handlers) ListLooks(ctx context.Context, r openapi.ListLooksRequestObject) (openapi.ListLooksResponseObject, error) {
	looks, err := h.service.Looks(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.ListLooks200JSONResponse{Items: each(looks, lookFrom)}, nil
}

func lookFrom(l trial.Look) openapi.Look {
	out := openapi.Look{
		N: l.N, At: l.At, Checkpoint: l.Checkpoint, Analysis: analysisAddress(l.TrialID, l.Analysis), Fish: l.Fish, Anglers: l.Anglers,
		Decision: openapi.LookDecision(cmp.Or(string(l.Decision), "pending")), Information: l.Information, Fraction: l.Fraction, Spent: l.Spent,
		BoundaryP: l.BoundaryP, P: l.P, LogOdds: l.LogOdds, EValue: l.EValue, ShareLow: l.ShareLow, ShareHigh: l.ShareHigh,
		Withdrawn: l.Withdrawn,
	}
	if !l.By.IsZero() {
		by := l.By.String()
		out.RequestedBy = &by
	}
	return out
}

// ListCheckpoints lists a trial's checkpoints.
func (h *handlers) ListCheckpoints(ctx context.Context, r openapi.ListCheckpointsRequestObject) (openapi.ListCheckpointsResponseObject, error) {
	list, err := h.service.Checkpoints(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.ListCheckpoints200JSONResponse{Items: each(list, func(c trial.Checkpoint) openapi.Checkpoint {
		return openapi.Checkpoint{N: int64(c.N), At: c.At, Root: c.Root.String(), Hash: c.Hash.String()}
	})}, nil
}

func trialFrom(v conduct.TrialView) openapi.Trial {
	t := v.Trial
	out := openapi.Trial{
		ID: openapi_types.UUID(t.ID), Club: openapi_types.UUID(t.ClubID), Title: t.Title,
		State: openapi.TrialState(t.State), Design: openapi.Design(t.Design), Source: openapi.Source(t.Source),
		ProtocolVersion: t.ProtocolVersion, Fingerprint: digestOrNil(t.Fingerprint), Commitment: digestOrNil(t.Commitment), Scheme: t.Scheme,
		CreatedAt: t.CreatedAt, RegisteredAt: t.RegisteredAt, ClosedAt: t.ClosedAt, LockedAt: t.LockedAt,
		Hidden: t.Hidden(), ActiveAnglers: v.ActiveAnglers, CannotHideEffect: t.Hidden() && v.ActiveAnglers < conduct.FewestToHide,
		Origin: originFrom(v.Origin), CardsIn: cardsInFrom(v.CardsIn), History: each(v.History, func(c trial.StateChange) openapi.StateChange {
			return openapi.StateChange{
				N: c.N, At: c.At, By: openapi_types.UUID(c.By), From: openapi.TrialState(c.From), To: openapi.TrialState(c.To), Reason: c.Reason,
			}
		}),
	}
	if t.Seed != nil {
		out.Seed = digestOrNil(*t.Seed)
	}
	if v.Closing > 0 {
		address := analysisAddress(t.ID, v.Closing)
		out.Analysis = &address
	}
	return out
}
