package db_test

import (
	"context"
	"testing"
	"time"

	"evenrig/service/trial"
)

func TestPeople(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	account := trial.Account{ID: newID(), Name: "Bo Sedge", Email: "bo@example.org", Admin: true, CreatedAt: server}
	token := trial.Token{
		ID: newID(), AccountID: account.ID, Name: "phone", Hash: digest("secret"), Scopes: trial.ScopeRead | trial.ScopeLog, CreatedAt: server,
		ExpiresAt: pointer(server.Add(trial.TokenLife)), LastUsedAt: pointer(server.Add(time.Minute)),
	}
	revoked := token
	revoked.ID, revoked.Hash, revoked.RevokedAt = newID(), digest("other"), &server
	member := trial.Membership{ClubID: w.club.ID, AccountID: account.ID, Name: account.Name, Role: trial.Auditor, JoinedAt: server}
	inv := trial.Invitation{
		ID: newID(), ClubID: w.club.ID, Role: trial.Angler, Name: "Ida Beck", Hash: digest("join"), Uses: 2, Used: 1, CreatedBy: w.admin.ID,
		CreatedAt: server, ExpiresAt: server.Add(trial.InvitationLife), RevokedAt: pointer(server.Add(time.Hour)),
	}
	for _, record := range []any{account, revoked, member, inv, w.club} {
		filled(t, record)
	}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.InsertAccount(ctx, account), tx.InsertToken(ctx, token), tx.InsertToken(ctx, revoked),
			tx.InsertMembership(ctx, member), tx.InsertInvitation(ctx, inv))
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		a, err := tx.AccountBy(ctx, account.ID)
		same(t, "account", a, account)
		tok, owner, err2 := tx.TokenByHash(ctx, token.Hash)
		same(t, "token", tok, token)
		same(t, "token's account", owner, account)
		if _, _, err := tx.TokenByHash(ctx, revoked.Hash); trial.KindOf(err) != trial.NotFound {
			t.Errorf("a revoked token gives %v", err)
		}
		tokens, err3 := tx.TokensOf(ctx, account.ID)
		same(t, "tokens", tokens, []trial.Token{token})
		club, err4 := tx.ClubBy(ctx, w.club.ID)
		same(t, "club", club, w.club)
		clubs, err5 := tx.ClubsOf(ctx, account.ID)
		same(t, "clubs", clubs, []trial.Club{w.club})
		m, err6 := tx.MembershipBy(ctx, w.club.ID, account.ID)
		same(t, "membership", m, member)
		members, err7 := tx.MembersOf(ctx, w.club.ID, trial.Page{Limit: 10})
		same(t, "members", members, []trial.Membership{member})
		after, err8 := tx.MembersOf(ctx, w.club.ID, trial.Page{After: account.ID, Limit: 10})
		same(t, "members after the last", after, []trial.Membership{})
		all, err9 := tx.InvitationsOf(ctx, w.club.ID)
		same(t, "invitations", all, []trial.Invitation{inv})
		return first(err, err2, err3, err4, err5, err6, err7, err8, err9)
	})
}

func TestInvitationUses(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	inv := trial.Invitation{
		ID: newID(), ClubID: w.club.ID, Role: trial.Angler, Hash: digest("join"), Uses: 2, CreatedBy: w.admin.ID,
		CreatedAt: server, ExpiresAt: server.Add(trial.InvitationLife),
	}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error { return tx.InsertInvitation(ctx, inv) })
	for used, usable := range []bool{true, true, false, false} {
		write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
			before, err := tx.UseInvitation(ctx, inv.Hash)
			if before.Used != min(used, 2) || (before.Usable(server) == nil) != usable {
				t.Errorf("use %d found %d used, usable %v", used+1, before.Used, before.Usable(server))
			}
			return err
		})
	}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		if err := tx.RevokeInvitation(ctx, newID(), inv.ID, server); trial.KindOf(err) != trial.NotFound {
			t.Errorf("another club revoked the invitation: %v", err)
		}
		return first(tx.RevokeInvitation(ctx, w.club.ID, inv.ID, server), tx.RevokeInvitation(ctx, w.club.ID, inv.ID, server.Add(time.Hour)))
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		all, err := tx.InvitationsOf(ctx, w.club.ID)
		if len(all) != 1 {
			t.Fatalf("%d invitations, want 1", len(all))
		}
		same(t, "time of revoking", all[0].RevokedAt, server)
		return err
	})
}

func TestRevokeToken(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	token := trial.Token{ID: newID(), AccountID: w.admin.ID, Name: "phone", Hash: digest("secret"), CreatedAt: server}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		if err := tx.InsertToken(ctx, token); err != nil {
			return err
		}
		if err := tx.RevokeToken(ctx, newID(), token.ID, server); trial.KindOf(err) != trial.NotFound {
			t.Errorf("another account revoked the token: %v", err)
		}
		return tx.RevokeToken(ctx, w.admin.ID, token.ID, server)
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		if _, _, err := tx.TokenByHash(ctx, token.Hash); trial.KindOf(err) != trial.NotFound {
			t.Errorf("a revoked token gives %v", err)
		}
		return nil
	})
}
