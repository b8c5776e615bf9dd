package slack

import (
	"context"
	"fmt"

	"github.com/slack-go/slack"

	"clogwise/internal/channel"
)

// homeBlocks bounds the blocks of a home tab; the platform takes a hundred.
const homeBlocks = 90

// publish puts a page on a person's home tab.
func (e *Edge) publish(ctx context.Context, user string, p channel.Page) error {
	view := slack.HomeTabViewRequest{Type: slack.VTHomeTab}
	for _, s := range p.Sections {
		view.Blocks.BlockSet = append(view.Blocks.BlockSet, slack.NewHeaderBlock(plainText(shorten(s.Title, hintLimit))))
		for _, piece := range split(s.Text, sectionLimit) {
			view.Blocks.BlockSet = append(view.Blocks.BlockSet, slack.NewSectionBlock(plainText(piece), nil, nil))
		}
	}
	if len(view.Blocks.BlockSet) > homeBlocks {
		view.Blocks.BlockSet = view.Blocks.BlockSet[:homeBlocks]
	}
	view.Blocks.BlockSet = append(view.Blocks.BlockSet, rows(p.Choices)...)
	if _, err := e.api.PublishViewContext(ctx, slack.PublishViewContextRequest{UserID: user, View: view}); err != nil {
		return fmt.Errorf("slack: views.publish: %w", redacted(err))
	}
	return nil
}

// home is a person who has opened the bot's home tab.
func home(user string, me identity) inbound {
	if user == "" {
		return inbound{}
	}
	return inbound{bot: me.User, home: &channel.Message{Platform: Platform, Team: me.Team, Channel: user, User: user, Direct: true}}
}
