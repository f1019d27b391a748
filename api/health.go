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

// GetReadiness answers when the service can work.
func (h *handlers) GetReadiness(ctx context.Context, _ openapi.GetReadinessRequestObject) (openapi.GetReadinessResponseObject, error) {
	if err := h.service.Ready(ctx); err != nil {
		return nil, &trial.Error{
			Kind: trial.Unavailable, Code: "unavailable", Detail: "the database does not answer, or its schema is another version's", Err: err,
		}
	}
	return openapi.GetReadiness200JSONResponse{Status: openapi.HealthStatusOk}, nil
}

// GetContract serves the document that the program was built from.
func (h *handlers) GetContract(context.Context, openapi.GetContractRequestObject) (openapi.GetContractResponseObject, error) {
	return openapi.GetContract200ApplicationOpenapiYamlResponse{Body: bytes.NewReader(openapi.Spec), ContentLength: int64(len(openapi.Spec))}, nil
}
