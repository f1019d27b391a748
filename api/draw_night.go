package api

import (
	"context"
	"fmt"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// GetDrawNight lists the words for a trial's draw.
func (h *handlers) GetDrawNight(ctx context.Context, r openapi.GetDrawNightRequestObject) (openapi.GetDrawNightResponseObject, error) {
	view, err := h.service.DrawNight(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.GetDrawNight200JSONResponse(drawNightFrom(view)), nil
}

// PutWord adds the actor's word.
func (h *handlers) PutWord(ctx context.Context, r openapi.PutWordRequestObject) (openapi.PutWordResponseObject, error) {
	view, created, err := h.service.GiveWord(ctx, actorOf(ctx), trial.ID(r.Trial), r.Body.Word)
	if err != nil {
		return nil, err
	}
	if !created {
		return openapi.PutWord200JSONResponse(drawNightFrom(view)), nil
	}
	return openapi.PutWord201JSONResponse{
		Body:    drawNightFrom(view),
		Headers: openapi.PutWord201ResponseHeaders{Location: fmt.Sprintf("/v1/trials/%s/draw-night", r.Trial)},
	}, nil
}

// CloseDrawNight closes the list of words.
func (h *handlers) CloseDrawNight(ctx context.Context, r openapi.CloseDrawNightRequestObject) (openapi.CloseDrawNightResponseObject, error) {
	view, err := h.service.CloseDrawNight(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.CloseDrawNight200JSONResponse(drawNightFrom(view)), nil
}

func drawNightFrom(v conduct.DrawNightView) openapi.DrawNight {
	return openapi.DrawNight{ClosedAt: v.ClosedAt, Words: each(v.Words, func(w conduct.WordView) openapi.DrawWord {
		return openapi.DrawWord{N: w.N, Word: w.Word, Mine: w.Mine}
	})}
}
