"""Channels: how a message is sent, and what came back.

`sender`           the protocol of what sends, and of what checks URLs
`sender_process`   what the daemon sends through: a child process, started when it is needed
`sender_pool`      a child process that sends many messages at once
`dispatcher`       what many households send at once: what may begin, and what came of it
`apprise_sender`   one attempt through Apprise, and whether a channel's URL can be used
`answering`        how a channel's service lets a message be answered
`sending`          which of the two ways a channel needs: Apprise or Web Push
`web_push`         one attempt to send to a browser; `push_address`, `push_identity`: to which, and
                   by whom
`wire_monitor`     what really went over the wire meanwhile
`mail`             the mail with HTML and pictures that replaces Apprise's own
`channel_trial`    the message of `sillward try-channel`
"""
