package api

import (
	"bytes"
	"context"

	"evenrig/openapi"
	"evenrig/service/trial"
)

// GetHealth answers as long as the process runs.
func (h *handlers) GetHealth(context.Context, openapi.GetHealthRequestObject) (openapi.GetHealthResponseObject, error) {
	return openapi.GetHealth200JSONResponse{Status: openapi.HealthStatusOk}, nil
}

// GetReadiness answers when the service can work, with what needs somebody all the same.
func (h *handlers) GetReadiness(ctx context.Context, _ openapi.GetReadinessRequestObject) (openapi.GetReadinessResponseObject, error) {
	err := h.service.Ready(ctx)
	var warnings []string
	if err == nil {
		warnings, err = h.service.Warnings(ctx)
	}
	switch {
	case trial.KindOf(err) == trial.Unavailable:
		return nil, err
	case err != nil:
		return nil, &trial.Error{Kind: trial.Unavailable, Code: "unavailable", Detail: "the database does not answer as it should", Err: err}
	}
	return openapi.GetReadiness200JSONResponse{Status: openapi.ReadinessStatusOk, Warnings: warnings}, nil
}

// GetContract serves the document that the program was built from.
func (h *handlers) GetContract(context.Context, openapi.GetContractRequestObject) (openapi.GetContractResponseObject, error) {
	return openapi.GetContract200ApplicationOpenapiYamlResponse{Body: bytes.NewReader(openapi.Spec), ContentLength: int64(len(openapi.Spec))}, nil
}
