package api

import (
	"context"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// PutGuess seals the actor's guess.
func (h *handlers) PutGuess(ctx context.Context, r openapi.PutGuessRequestObject) (openapi.PutGuessResponseObject, error) {
	if err := h.service.Guess(ctx, actorOf(ctx), trial.ID(r.Trial), r.Body.Share); err != nil {
		return nil, err
	}
	return openapi.PutGuess204Response{}, nil
}

// ListGuesses lists the guesses that the actor may read.
func (h *handlers) ListGuesses(ctx context.Context, r openapi.ListGuessesRequestObject) (openapi.ListGuessesResponseObject, error) {
	list, err := h.service.Guesses(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.ListGuesses200JSONResponse{Items: each(list, func(g conduct.GuessView) openapi.Guess {
		return openapi.Guess{Angler: g.Pseudonym, Share: g.Share, Mine: g.Mine}
	})}, nil
}
