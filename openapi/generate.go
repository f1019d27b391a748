package openapi

//go:generate go tool -modfile=../deploy/tools.mod oapi-codegen -config types.cfg.yaml openapi.yaml
//go:generate go tool -modfile=../deploy/tools.mod oapi-codegen -config server.cfg.yaml openapi.yaml
//go:generate go tool -modfile=../deploy/tools.mod oapi-codegen -config client.cfg.yaml openapi.yaml
