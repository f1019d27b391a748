package api

import (
	"context"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/trial"
)

// ListOutstanding lists what may be on its way from each angler.
func (h *handlers) ListOutstanding(ctx context.Context, r openapi.ListOutstandingRequestObject) (openapi.ListOutstandingResponseObject, error) {
	list, err := h.service.Outstanding(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.ListOutstanding200JSONResponse{Items: each(list, func(o trial.Outstanding) openapi.Outstanding {
		return openapi.Outstanding{
			Enrolment: openapi_types.UUID(o.EnrolmentID), Name: o.Name, Pseudonym: o.Pseudonym, Guest: o.Guest, Left: o.Left, Carried: o.Carried,
			OpenOutings: o.OpenOutings, OpenSince: o.OpenSince, Slips: o.Slips, CardOut: o.CardOut, LastHeard: o.LastHeard,
		}
	})}, nil
}

// PutCardsIn keeps the organiser's word that every card is in.
func (h *handlers) PutCardsIn(ctx context.Context, r openapi.PutCardsInRequestObject) (openapi.PutCardsInResponseObject, error) {
	view, err := h.service.DeclareCardsIn(ctx, actorOf(ctx), trial.ID(r.Trial), r.Body.Reason)
	if err != nil {
		return nil, err
	}
	return openapi.PutCardsIn200JSONResponse(trialFrom(view)), nil
}

func cardsInFrom(c *trial.CardsIn) *openapi.CardsIn {
	if c == nil {
		return nil
	}
	return &openapi.CardsIn{At: c.At, Reason: c.Reason}
}
