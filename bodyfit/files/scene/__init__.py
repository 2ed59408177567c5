"""The moving body as a glTF 2.0 scene."""
