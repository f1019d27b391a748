package api

import (
	"context"
	"fmt"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// PutCard types a paper card in.
func (h *handlers) PutCard(ctx context.Context, r openapi.PutCardRequestObject) (openapi.PutCardResponseObject, error) {
	view, err := h.service.TypeCard(ctx, actorFor(ctx, r.Body.For), trial.ID(r.Trial), r.Number, cardTo(*r.Body))
	if err != nil {
		return nil, err
	}
	uuids := func(ids []trial.ID) []openapi_types.UUID {
		return each(ids, func(id trial.ID) openapi_types.UUID { return openapi_types.UUID(id) })
	}
	out := openapi.TypedCard{Number: view.Card.Number, Outing: openapi_types.UUID(view.Card.OutingID), Periods: uuids(view.Periods), Catches: uuids(view.Catches)}
	if !view.Created {
		return openapi.PutCard200JSONResponse(out), nil
	}
	return openapi.PutCard201JSONResponse{
		Body:    out,
		Headers: openapi.PutCard201ResponseHeaders{Location: fmt.Sprintf("/v1/trials/%s/outings/%s", r.Trial, out.Outing)},
	}, nil
}

// ListCards lists which cards were typed in.
func (h *handlers) ListCards(ctx context.Context, r openapi.ListCardsRequestObject) (openapi.ListCardsResponseObject, error) {
	cards, err := h.service.Cards(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.ListCards200JSONResponse{Items: each(cards, func(c conduct.TypedCard) openapi.CardStanding {
		return openapi.CardStanding{
			Number: c.Number, Pseudonym: c.Pseudonym, WrittenAt: c.WrittenAt, TypedBy: c.TypedBy, TypedAt: c.TypedAt, AgainBy: c.AgainBy, AgainAt: c.AgainAt,
			Differs: append([]string{}, c.Differs...),
		}
	})}, nil
}

func cardTo(b openapi.NewCard) trial.PaperCard {
	o := b.Outing
	return trial.PaperCard{
		WrittenAt: b.WrittenAt,
		Outing: trial.PaperOuting{
			Water: o.Water, StartedAt: o.StartedAt, StartedLate: or(o.StartedLate, false), WaterTemperature: measureTo(o.WaterTemperature),
			Conditions: or(o.Conditions, ""), Note: or(o.Note, ""), EndedAt: o.EndedAt, Reason: o.Reason, NotLogged: o.NotLogged,
		},
		Rounds: each(b.Rounds, func(r openapi.CardRound) trial.PaperRound {
			return trial.PaperRound{
				Unit: (*trial.ID)(r.Unit), DrawnBy: trial.DrawnBy(or(r.DrawnBy, "")), First: trial.Arrangement(or(r.First, "")), DrawnAt: r.DrawnAt,
				Slip: or(r.Slip, 0), Halves: each(r.Halves, halfTo),
			}
		}),
	}
}

func halfTo(h openapi.CardHalf) trial.PaperHalf {
	return trial.PaperHalf{
		StartedAt: h.StartedAt, Confirmed: h.Confirmed, Fished: trial.Arrangement(or(h.Fished, "")), EndedAt: h.EndedAt, SwapNowAt: h.SwapNowAt, Reason: h.Reason,
		Fish: each(h.Fish, func(f openapi.CardFish) trial.PaperFish {
			return trial.PaperFish{
				CaughtAt: f.CaughtAt, TakenPattern: or(f.TakenPattern, ""), TakenPosition: trial.Position(or(f.TakenPosition, "")),
				Outcome: trial.Outcome(or(f.Outcome, string(trial.Landed))), FoulHooked: or(f.FoulHooked, false), RigIntact: or(f.RigIntact, true),
				Double: or(f.Double, 0), Welfare: or(f.Welfare, nil), Species: f.Species, Origin: trial.Origin(or(f.Origin, string(trial.UnknownOrigin))),
				Length: measureTo(f.Length), Note: or(f.Note, ""),
			}
		}),
	}
}
