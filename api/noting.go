package api

import (
	"context"
	"fmt"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// actorFor is the actor, for another angler where the request names one.
func actorFor(ctx context.Context, enrolment *openapi_types.UUID) trial.Actor {
	actor := actorOf(ctx)
	actor.For = trial.ID(or(enrolment, openapi_types.UUID{}))
	return actor
}

// ListNoters lists who may note for the actor.
func (h *handlers) ListNoters(ctx context.Context, r openapi.ListNotersRequestObject) (openapi.ListNotersResponseObject, error) {
	accounts, err := h.service.Noters(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.ListNoters200JSONResponse(notersFrom(accounts)), nil
}

// PutNoters says who may note for the actor.
func (h *handlers) PutNoters(ctx context.Context, r openapi.PutNotersRequestObject) (openapi.PutNotersResponseObject, error) {
	accounts := each(r.Body.Accounts, func(id openapi_types.UUID) trial.ID { return trial.ID(id) })
	if err := h.service.SetNoters(ctx, actorOf(ctx), trial.ID(r.Trial), accounts); err != nil {
		return nil, err
	}
	return openapi.PutNoters200JSONResponse(notersFrom(accounts)), nil
}

func notersFrom(accounts []trial.ID) openapi.Noters {
	return openapi.Noters{Accounts: each(accounts, func(id trial.ID) openapi_types.UUID { return openapi_types.UUID(id) })}
}

// ListNoting lists for whom the actor may note.
func (h *handlers) ListNoting(ctx context.Context, r openapi.ListNotingRequestObject) (openapi.ListNotingResponseObject, error) {
	anglers, err := h.service.NotedFor(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.ListNoting200JSONResponse{Items: each(anglers, func(n conduct.NotedFor) openapi.Noting {
		return openapi.Noting{Enrolment: openapi_types.UUID(n.Enrolment), Name: orNil(n.Name), Pseudonym: orNil(n.Pseudonym), Guest: n.Guest}
	})}, nil
}

// PutGuest joins a guest for a day.
func (h *handlers) PutGuest(ctx context.Context, r openapi.PutGuestRequestObject) (openapi.PutGuestResponseObject, error) {
	e, err := enrolmentTo(r.Enrolment, r.Body.Code, r.Body.Consent)
	if err != nil {
		return nil, err
	}
	view, err := h.service.BringGuest(ctx, actorOf(ctx), trial.ID(r.Trial), e)
	if err != nil {
		return nil, err
	}
	out := enrolmentFrom(view.Enrolment)
	out.Receipt = receiptFrom(&view.Receipt)
	if !view.Created {
		return openapi.PutGuest200JSONResponse(out), nil
	}
	return openapi.PutGuest201JSONResponse{
		Body:    out,
		Headers: openapi.PutGuest201ResponseHeaders{Location: fmt.Sprintf("/v1/trials/%s/noting", r.Trial)},
	}, nil
}

// WithdrawGuest ends a guest's part in a trial.
func (h *handlers) WithdrawGuest(ctx context.Context, r openapi.WithdrawGuestRequestObject) (openapi.WithdrawGuestResponseObject, error) {
	if err := h.service.Withdraw(ctx, actorFor(ctx, &r.Enrolment), trial.ID(r.Trial), r.Body.Erase); err != nil {
		return nil, err
	}
	return openapi.WithdrawGuest204Response{}, nil
}
