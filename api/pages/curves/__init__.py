"""The pages of tool keys and of forecasts judged: lives, one life curve, were we right.

``figures`` draws what they show; ``PAGES`` lists the pages for the application.
"""

from api.pages.curves import life, lives, right

PAGES = (lives, life, right)
