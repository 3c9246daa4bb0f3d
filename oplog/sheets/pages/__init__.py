"""Sheets to look at, print and send: one self-contained HTML file each, without scripts.

    farm, day, trails -> a page's view (figures in words, pictures as paths) -> template -> HTML

Views are plain values worked out by pure functions; templates only lay them out and escape every
name. Pictures are drawn from the log's own geometry. The visual language is in DEVELOPERS.md.
"""
