package api

import (
	"context"
	"fmt"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// GetMe tells whose token was sent.
func (h *handlers) GetMe(ctx context.Context, _ openapi.GetMeRequestObject) (openapi.GetMeResponseObject, error) {
	me, err := h.service.Me(ctx, actorOf(ctx))
	if err != nil {
		return nil, err
	}
	return openapi.GetMe200JSONResponse{
		ID: openapi_types.UUID(me.Account.ID), Name: me.Account.Name, Email: orNil(me.Account.Email), Admin: me.Account.Admin,
		Scopes: scopesFrom(actorOf(ctx).Scopes), CreatedAt: me.Account.CreatedAt, Clubs: each(me.Clubs, clubFrom),
	}, nil
}

// ListTokens lists the actor's tokens.
func (h *handlers) ListTokens(ctx context.Context, _ openapi.ListTokensRequestObject) (openapi.ListTokensResponseObject, error) {
	tokens, err := h.service.Tokens(ctx, actorOf(ctx))
	if err != nil {
		return nil, err
	}
	return openapi.ListTokens200JSONResponse{Items: each(tokens, func(t trial.Token) openapi.Token {
		return openapi.Token{
			ID: openapi_types.UUID(t.ID), Name: t.Name, Scopes: scopesFrom(t.Scopes), CreatedAt: t.CreatedAt, ExpiresAt: t.ExpiresAt, LastUsedAt: t.LastUsedAt,
		}
	})}, nil
}

// CreateToken makes another token of the actor's.
func (h *handlers) CreateToken(ctx context.Context, r openapi.CreateTokenRequestObject) (openapi.CreateTokenResponseObject, error) {
	token, secret, err := h.service.CreateToken(ctx, actorOf(ctx), trial.Token{Name: r.Body.Name, ExpiresAt: r.Body.ExpiresAt}, or(r.Body.Scopes, nil))
	if err != nil {
		return nil, err
	}
	return openapi.CreateToken201JSONResponse(tokenSecretFrom(token, secret)), nil
}

// RevokeToken ends one of the actor's tokens.
func (h *handlers) RevokeToken(ctx context.Context, r openapi.RevokeTokenRequestObject) (openapi.RevokeTokenResponseObject, error) {
	if err := h.service.RevokeToken(ctx, actorOf(ctx), trial.ID(r.Token)); err != nil {
		return nil, err
	}
	h.forget()
	return openapi.RevokeToken204Response{}, nil
}

// ListClubs lists the actor's clubs.
func (h *handlers) ListClubs(ctx context.Context, _ openapi.ListClubsRequestObject) (openapi.ListClubsResponseObject, error) {
	clubs, err := h.service.Clubs(ctx, actorOf(ctx))
	if err != nil {
		return nil, err
	}
	return openapi.ListClubs200JSONResponse{Items: each(clubs, clubFrom)}, nil
}

// CreateClub founds a club.
func (h *handlers) CreateClub(ctx context.Context, r openapi.CreateClubRequestObject) (openapi.CreateClubResponseObject, error) {
	club, err := h.service.CreateClub(ctx, actorOf(ctx), r.Body.Name)
	if err != nil {
		return nil, err
	}
	cookie, err := h.rotate(ctx)
	if err != nil {
		return nil, err
	}
	return openapi.CreateClub201JSONResponse{
		Body:    clubFrom(conduct.MyClub{Club: club, Role: trial.Organiser}),
		Headers: openapi.CreateClub201ResponseHeaders{Location: fmt.Sprintf("/v1/clubs/%s", club.ID), SetCookie: cookie},
	}, nil
}

// GetClub returns one of the actor's clubs.
func (h *handlers) GetClub(ctx context.Context, r openapi.GetClubRequestObject) (openapi.GetClubResponseObject, error) {
	club, err := h.service.Club(ctx, actorOf(ctx), trial.ID(r.Club))
	if err != nil {
		return nil, err
	}
	return openapi.GetClub200JSONResponse(clubFrom(club)), nil
}

// ListMembers lists a club's members.
func (h *handlers) ListMembers(ctx context.Context, r openapi.ListMembersRequestObject) (openapi.ListMembersResponseObject, error) {
	p, err := pageOf(r.Params.After, r.Params.Limit)
	if err != nil {
		return nil, err
	}
	members, err := h.service.Members(ctx, actorOf(ctx), trial.ID(r.Club), p.toTrial())
	if err != nil {
		return nil, err
	}
	members, next := cut(p, members, func(m trial.Membership) trial.ID { return m.AccountID }, "/v1/clubs/%s/members", r.Club)
	return openapi.ListMembers200JSONResponse{
		Body: openapi.MemberList{Items: each(members, func(m trial.Membership) openapi.Member {
			return openapi.Member{Account: openapi_types.UUID(m.AccountID), Name: m.Name, Role: openapi.Role(m.Role), JoinedAt: m.JoinedAt}
		})},
		Headers: openapi.ListMembers200ResponseHeaders{Link: next},
	}, nil
}

// CreateInvitation invites to a club.
func (h *handlers) CreateInvitation(ctx context.Context, r openapi.CreateInvitationRequestObject) (openapi.CreateInvitationResponseObject, error) {
	inv, secret, err := h.service.Invite(ctx, actorOf(ctx), trial.ID(r.Club), trial.Role(r.Body.Role), or(r.Body.Uses, 1), or(r.Body.Name, ""))
	if err != nil {
		return nil, err
	}
	return openapi.CreateInvitation201JSONResponse{
		ID: openapi_types.UUID(inv.ID), Role: openapi.Role(inv.Role), Uses: inv.Uses, Secret: secret, Link: h.link("join", secret), ExpiresAt: inv.ExpiresAt,
	}, nil
}

// ListInvitations lists a club's invitations.
func (h *handlers) ListInvitations(ctx context.Context, r openapi.ListInvitationsRequestObject) (openapi.ListInvitationsResponseObject, error) {
	list, err := h.service.Invitations(ctx, actorOf(ctx), trial.ID(r.Club))
	if err != nil {
		return nil, err
	}
	return openapi.ListInvitations200JSONResponse{Items: each(list, func(i trial.Invitation) openapi.Invitation {
		return openapi.Invitation{
			ID: openapi_types.UUID(i.ID), Role: openapi.Role(i.Role), Name: orNil(i.Name), Uses: i.Uses, Used: i.Used,
			CreatedAt: i.CreatedAt, ExpiresAt: i.ExpiresAt, RevokedAt: i.RevokedAt,
		}
	})}, nil
}

// RevokeInvitation ends an invitation.
func (h *handlers) RevokeInvitation(ctx context.Context, r openapi.RevokeInvitationRequestObject) (openapi.RevokeInvitationResponseObject, error) {
	if err := h.service.RevokeInvitation(ctx, actorOf(ctx), trial.ID(r.Club), trial.ID(r.Invitation)); err != nil {
		return nil, err
	}
	return openapi.RevokeInvitation204Response{}, nil
}

// AcceptInvitation joins a club, with an account of the token that was sent or with a new one.
func (h *handlers) AcceptInvitation(ctx context.Context, r openapi.AcceptInvitationRequestObject) (openapi.AcceptInvitationResponseObject, error) {
	if err := h.attempt(ctx, ""); err != nil {
		return nil, err
	}
	joined, err := h.service.AcceptInvitation(ctx, actorIfAny(ctx), r.Body.Secret, or(r.Body.Name, ""), or(r.Body.Session, false))
	if err != nil {
		return nil, err
	}
	answer := openapi.AcceptInvitation201JSONResponse{Body: openapi.Joined{
		Account: openapi_types.UUID(joined.Account.ID), Club: clubFrom(conduct.MyClub{Club: joined.Club, Role: joined.Role}),
	}}
	switch {
	case joined.Token != nil:
		answer.Body.Token = &joined.Secret
	case joined.Session != nil:
		answer.Headers.SetCookie = sessionCookie(joined.Secret)
	default:
		answer.Headers.SetCookie, err = h.rotate(ctx)
	}
	return answer, err
}

func clubFrom(c conduct.MyClub) openapi.Club {
	return openapi.Club{ID: openapi_types.UUID(c.Club.ID), Name: c.Club.Name, CreatedAt: c.Club.CreatedAt, Role: openapi.Role(c.Role)}
}
