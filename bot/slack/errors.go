package slack

import (
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"time"

	"github.com/slack-go/slack"

	"clogwise/internal/channel"
)

// unstatedRetry is how long to wait when the platform says "too many" and not
// until when; its limits are mostly one post a second or so many a minute.
const unstatedRetry = 10 * time.Second

// refusals are the answers of the Web API after which the same post will never
// be taken. Faults of the token or its scopes are not among them: an
// administrator mends those, and the post then goes out.
var refusals = map[string]bool{
	"channel_not_found":                   true,
	"not_in_channel":                      true,
	"is_archived":                         true,
	"account_inactive":                    true,
	"user_not_found":                      true,
	"user_not_in_channel":                 true,
	"user_disabled":                       true,
	"cannot_dm_bot":                       true,
	"messages_tab_disabled":               true,
	"restricted_action":                   true,
	"invalid_blocks":                      true,
	"invalid_blocks_format":               true,
	"msg_too_long":                        true,
	"msg_blocks_too_long":                 true,
	"no_text":                             true,
	"file_upload_size_restricted":         true,
	"restricted_action_read_only_channel": true,
}

// nobodies are the refusals that mean the person, not the post.
var nobodies = map[string]bool{"user_not_found": true, "user_disabled": true, "cannot_dm_bot": true, "messages_tab_disabled": true}

// away are the answers that speak of the platform's own state. What is wrong
// with the token (fatals) counts like it: it is no fault of the post.
var away = map[string]bool{"internal_error": true, "fatal_error": true, "service_unavailable": true, "request_timeout": true, "team_added_to_org": true}

// fatals are the answers after which connecting again is useless.
var fatals = map[string]string{
	"invalid_auth":           "the token is wrong or revoked: copy it again from the app's pages",
	"not_authed":             "no token was sent: set it",
	"account_inactive":       "the app was removed from the workspace: install it again",
	"token_revoked":          "the token was revoked: install the app again and copy the new one",
	"token_expired":          "the token has expired: install the app again and copy the new one",
	"missing_scope":          "the token lacks a scope: add it and install the app again",
	"not_allowed_token_type": "the wrong kind of token: the bot token begins with xoxb-, the app token with xapp-",
}

// isFatal reports whether an error means that trying on is useless.
func isFatal(err error) bool {
	if _, ok := errors.AsType[*wrongTeamError](err); ok {
		return true
	}
	if status, ok := errors.AsType[slack.StatusCodeError](err); ok {
		return status.Code == http.StatusNotFound // the API address is wrong
	}
	return fatals[answerOf(err)] != ""
}

// explain says what to do about a fatal error.
func explain(err error) error {
	if advice := fatals[answerOf(err)]; advice != "" {
		return fmt.Errorf("slack: refused (%w): %s", err, advice)
	}
	return fmt.Errorf("slack: %w", redacted(err))
}

// sendError turns the library's error into what channel.Sender promises.
func sendError(what string, err error) error {
	if limit, ok := errors.AsType[*slack.RateLimitedError](err); ok {
		return &channel.RetryError{After: limit.RetryAfter, Err: fmt.Errorf("slack: %s: rate limit", what)}
	}
	if status, ok := errors.AsType[slack.StatusCodeError](err); ok && status.Code == http.StatusTooManyRequests {
		return &channel.RetryError{After: unstatedRetry, Err: fmt.Errorf("slack: %s: rate limit", what)}
	}
	switch answer := answerOf(err); {
	case answer == "ratelimited" || answer == "rate_limited":
		return &channel.RetryError{After: unstatedRetry, Err: fmt.Errorf("slack: %s: rate limit", what)}
	case nobodies[answer]:
		return fmt.Errorf("slack: %s: %w: %w: %s", what, channel.ErrRefused, channel.ErrNobody, answer)
	case refusals[answer]:
		return fmt.Errorf("slack: %s: %w: %s", what, channel.ErrRefused, answer)
	case answer == "" || away[answer] || fatals[answer] != "":
		return fmt.Errorf("slack: %s: %w: %w", what, channel.ErrAway, redacted(err))
	}
	return fmt.Errorf("slack: %s: %w", what, redacted(err))
}

// postError is sendError for a call that people see the effect of.
func postError(what string, err error) error {
	told := sendError(what, err)
	if unseen(err) {
		return fmt.Errorf("%w: %w", told, channel.ErrUnseen)
	}
	return told
}

// unseen reports whether a call may have been done although it failed: it was
// handed over, and what came back was no answer of the Web API.
func unseen(err error) bool {
	if status, ok := errors.AsType[slack.StatusCodeError](err); ok {
		switch status.Code {
		case http.StatusInternalServerError, http.StatusBadGateway, http.StatusGatewayTimeout:
			return true
		}
		return false
	}
	if _, ok := errors.AsType[*slack.RateLimitedError](err); ok || answerOf(err) != "" {
		return false
	}
	dial, ok := errors.AsType[*net.OpError](err)
	return !ok || dial.Op != "dial"
}

// answerOf is the Web API's own word for what went wrong; empty for other errors.
func answerOf(err error) string {
	answer, _ := errors.AsType[slack.SlackErrorResponse](err)
	return answer.Err
}

// redacted drops addresses from an error: those of sockets and uploads carry
// tickets that open them.
func redacted(err error) error {
	if u, ok := errors.AsType[*url.Error](err); ok {
		return fmt.Errorf("%s: %w", u.Op, u.Err)
	}
	return err
}
