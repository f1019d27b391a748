package api

import (
	"context"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// FileDispute says that a record should not count.
func (h *handlers) FileDispute(ctx context.Context, r openapi.FileDisputeRequestObject) (openapi.FileDisputeResponseObject, error) {
	view, err := h.service.FileDispute(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Body.Subject), r.Body.Words)
	if err != nil {
		return nil, err
	}
	if !view.Created {
		return openapi.FileDispute200JSONResponse(disputeFrom(view)), nil
	}
	return openapi.FileDispute201JSONResponse(disputeFrom(view)), nil
}

// DecideDispute says keep or exclude.
func (h *handlers) DecideDispute(ctx context.Context, r openapi.DecideDisputeRequestObject) (openapi.DecideDisputeResponseObject, error) {
	made := trial.DisputeDecision{Decision: r.Body.Decision, Reason: r.Body.Reason}
	view, err := h.service.DecideDispute(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Dispute), made)
	if err != nil {
		return nil, err
	}
	return openapi.DecideDispute201JSONResponse(disputeFrom(view)), nil
}

// ListDisputes lists what members say should not count.
func (h *handlers) ListDisputes(ctx context.Context, r openapi.ListDisputesRequestObject) (openapi.ListDisputesResponseObject, error) {
	views, err := h.service.Disputes(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.ListDisputes200JSONResponse{Items: each(views, disputeFrom)}, nil
}

func disputeFrom(v conduct.DisputeView) openapi.Dispute {
	d := v.Dispute
	out := openapi.Dispute{
		ID: openapi_types.UUID(d.ID), Kind: openapi.DisputeKind(d.Kind), Subject: idOrNil(d.Subject), Words: d.Words, FiledAs: openapi.Role(d.FiledAs), FiledAt: d.FiledAt,
		Outcome: openapi.DisputeOutcome(v.Outcome), Mine: v.Mine, Own: v.Own, Decided: v.Decided, MayDecide: v.MayDecide,
		Decisions: each(d.Decisions, func(m trial.DisputeDecision) openapi.DisputeDecision {
			return openapi.DisputeDecision{Decision: openapi.DisputeDecisionDecision(m.Decision), Reason: m.Reason, As: openapi.Role(m.As), At: m.At}
		}),
		Facts: openapi.DisputeFacts{
			Day: v.Facts.Day, WaterType: v.Facts.WaterType, StartedLate: v.Facts.StartedLate, NotLogged: v.Facts.NotLogged,
			Reports: each(v.Facts.Reports, func(k trial.DeviationKind) openapi.DeviationKind { return openapi.DeviationKind(k) }),
		},
	}
	if c := v.Facts.Catch; c != nil {
		out.Facts.Catch = &openapi.DisputedCatch{
			Outcome: openapi.Outcome(c.Outcome), FoulHooked: c.FoulHooked, RigIntact: c.RigIntact, Double: c.Double, Species: c.Species, Origin: openapi.Origin(c.Origin),
			Length: measureFrom(c.Length), NotedLate: c.NotedLate, Typed: c.Typed, Confirmed: c.Confirmed, Half: c.Half,
		}
	} else {
		out.Facts.Fish = &v.Facts.Fish
	}
	return out
}
