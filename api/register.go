package api

import (
	"context"
	"fmt"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/trial"
)

// ListRegister lists every trial that was ever registered, to anybody.
func (h *handlers) ListRegister(ctx context.Context, r openapi.ListRegisterRequestObject) (openapi.ListRegisterResponseObject, error) {
	p, err := pageOf(r.Params.After, r.Params.Limit)
	if err != nil {
		return nil, err
	}
	entries, err := h.service.Register(ctx, p.toTrial())
	if err != nil {
		return nil, err
	}
	entries, next := cut(p, entries, func(e trial.Registration) trial.ID { return e.Trial.ID }, "/v1/register")
	return openapi.ListRegister200JSONResponse{
		Body:    openapi.Register{Items: each(entries, registrationFrom)},
		Headers: openapi.ListRegister200ResponseHeaders{Link: next},
	}, nil
}

func registrationFrom(e trial.Registration) openapi.Registration {
	t := e.Trial
	return openapi.Registration{
		Trial: openapi_types.UUID(t.ID), Title: e.Title, Question: e.Question, State: openapi.TrialState(t.State), Design: openapi.Design(t.Design),
		Source: openapi.Source(t.Source), Fingerprint: digestOrNil(t.Fingerprint), Commitment: digestOrNil(t.Commitment), RegisteredAt: t.RegisteredAt,
		ClosedAt: t.ClosedAt, LockedAt: t.LockedAt, AbandonedAt: e.AbandonedAt, Reason: e.Reason, Fish: e.Fish,
		Published: publishedAddress(e), RepeatOf: idOrNil(e.RepeatOf), Repeats: each(e.Repeats, func(id trial.ID) openapi_types.UUID { return openapi_types.UUID(id) }),
	}
}

// publishedAddress is where a trial is published, nil where no package stands.
func publishedAddress(e trial.Registration) *string {
	if e.Published == nil {
		return nil
	}
	address := fmt.Sprintf("/v1/published/%s", e.Trial.ID)
	return &address
}
