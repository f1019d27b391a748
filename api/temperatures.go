package api

import (
	"context"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// PutTemperature saves a reading of the water's temperature.
func (h *handlers) PutTemperature(ctx context.Context, r openapi.PutTemperatureRequestObject) (openapi.PutTemperatureResponseObject, error) {
	view, err := h.service.MeasureWater(ctx, actorOf(ctx), trial.ID(r.Trial), trial.Temperature{
		ID: trial.ID(r.Temperature), OutingID: trial.ID(r.Outing), At: r.Body.At, Water: trial.Measure{Value: r.Body.Value, Unit: r.Body.Unit},
	})
	if err != nil {
		return nil, err
	}
	outing, err := h.outing(ctx, r.Trial, view.Outing)
	if err != nil {
		return nil, err
	}
	body := temperatureFrom(view.Temperature)
	body.Outing = &outing
	if !view.Created {
		return openapi.PutTemperature200JSONResponse(body), nil
	}
	return openapi.PutTemperature201JSONResponse(body), nil
}

// ListTemperatures lists the readings of an outing.
func (h *handlers) ListTemperatures(ctx context.Context, r openapi.ListTemperaturesRequestObject) (openapi.ListTemperaturesResponseObject, error) {
	list, err := h.service.Temperatures(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Outing))
	if err != nil {
		return nil, err
	}
	return openapi.ListTemperatures200JSONResponse{Items: each(list, temperatureFrom)}, nil
}

func temperatureFrom(t trial.Temperature) openapi.Temperature {
	return openapi.Temperature{ID: openapi_types.UUID(t.ID), At: t.At, Value: t.Water.Value, Unit: openapi.TemperatureUnit(t.Water.Unit), ReceivedAt: t.ReceivedAt}
}

// OverrideWelfare lets an angler fish on for a day in warm water.
func (h *handlers) OverrideWelfare(ctx context.Context, r openapi.OverrideWelfareRequestObject) (openapi.OverrideWelfareResponseObject, error) {
	view, err := h.service.OverrideWelfare(ctx, actorOf(ctx), trial.ID(r.Trial), r.Body.Angler, trial.WelfareOverride{Day: r.Body.Day, Reason: r.Body.Reason})
	if err != nil {
		return nil, err
	}
	return openapi.OverrideWelfare201JSONResponse(overrideFrom(view)), nil
}

// ListWelfareOverrides lists where anglers were let fish on.
func (h *handlers) ListWelfareOverrides(ctx context.Context, r openapi.ListWelfareOverridesRequestObject) (openapi.ListWelfareOverridesResponseObject, error) {
	views, err := h.service.WelfareOverrides(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.ListWelfareOverrides200JSONResponse{Items: each(views, overrideFrom)}, nil
}

func overrideFrom(v conduct.OverrideView) openapi.WelfareOverride {
	return openapi.WelfareOverride{N: v.N, Angler: v.Angler, Day: v.Day, Reason: v.Reason, At: v.At}
}
