"""Messages to receivers of a farm's own choosing: signed, sent again until they are taken, and only to public places.

They follow Standard Webhooks 1.0: thin messages that say what happened and where to read it, never what it says.
"""
